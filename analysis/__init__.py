"""Everything that computes: from log files to lines, tallies, rates and calls."""
