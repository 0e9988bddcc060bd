"""What does the page of incoming data ask of the analysis?"""
