"""What does the page of rates ask of the analysis?"""
