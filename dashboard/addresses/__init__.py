"""What does the address of each page say? One module a page; pages link to each other through it alone."""
