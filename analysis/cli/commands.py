"""Which commands are there, in the order of the help?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.cli.options import deciding, files, lists, loading, people, rates, serving, sessions
from analysis.cli.options.declared import Command

_MODULES = (loading, lists, rates, deciding, sessions, files, people, serving)

COMMANDS: Mapping[str, Command] = {
    kind.command.name: kind.command
    for module in _MODULES
    for kind in vars(module).values()
    if isinstance(kind, type) and hasattr(kind, "command")
}
"""Commands by name. Each is a class of options that names the function that answers it: its module,
with pandas and the database, is loaded when the command runs."""
