"""Which families to call today, in what order, and why?"""
