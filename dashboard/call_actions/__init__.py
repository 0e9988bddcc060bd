"""What can be recorded of a family, on the call list and on its own page?"""
