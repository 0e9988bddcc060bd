"""What does the call list ask of the analysis?"""
