"""The command line: reads options, takes a snapshot, prints a table. It computes nothing."""

from analysis.cli.app import main

__all__ = ["main"]
