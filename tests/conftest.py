"""What every test shares."""

from hypothesis import settings

settings.register_profile("project", deadline=None)  # a busy machine is not a failure
settings.load_profile("project")
