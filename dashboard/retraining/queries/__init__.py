"""What does the educator's page ask of the analysis?"""
