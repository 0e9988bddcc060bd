"""How long do lines stay in place?"""
