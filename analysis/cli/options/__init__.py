"""The options of every command, as data: one class a command, one field an option.

Nothing here imports pandas or a database, so that help, completion and usage errors come at once.
What a command does is in the modules next to this package; `analysis.cli.commands` pairs the two.
"""
