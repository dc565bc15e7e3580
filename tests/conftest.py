"""What every test shares."""

from hypothesis import settings

# a busy machine is not a failure, and a run can be repeated; `--hypothesis-profile explore` looks further
settings.register_profile("project", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=2_000)
settings.load_profile("project")
