"""Which data came in, how late, and what has to be corrected?"""
