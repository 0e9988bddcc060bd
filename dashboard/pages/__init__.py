"""Pages: a layout from a view, and the thin callbacks that belong to it."""
