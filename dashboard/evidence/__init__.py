"""Which stored rows prove what a page shows?"""
