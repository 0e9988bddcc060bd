"""What happened to the lines of one family, and what is their state today?"""
