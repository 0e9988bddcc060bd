"""The command line: reads options, takes a snapshot, prints a table. It computes nothing."""

from analysis.cli.keyboard import one_sentence

__all__ = ["main"]


def main() -> None:
    """Run the command line."""
    with one_sentence():
        from analysis.cli import app  # while it is imported Ctrl+C ends with a sentence, too

        app.main()
