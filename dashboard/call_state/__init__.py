"""How is one family listed? Shared by the call list and the page of a family."""
