"""Which caregiver needs retraining on which step, and did the last refresher help?"""
