"""Where is any family, also one that is not on today's list?"""
