"""Every run of the tests tries the same cases, so that what passed here passes everywhere."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
