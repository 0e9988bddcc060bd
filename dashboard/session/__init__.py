"""Who asks, what may they see, and on which snapshot?"""
