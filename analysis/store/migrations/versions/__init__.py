"""One module a step of the store's tables, numbered in order."""
