"""Questions about lines and families, answered from timeline and tallies: one file a question."""
