"""Which families are on a list, and in which order? Shared by the lists and a family's page."""
