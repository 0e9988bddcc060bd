"""What does a family's page ask of the analysis?"""
