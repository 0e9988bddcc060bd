"""What can a person see and change of their own sign-in?"""
