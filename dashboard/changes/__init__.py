"""What has changed on a page since a person last looked?"""
