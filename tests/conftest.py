"""What every test shares."""

import pytest
from hypothesis import settings

settings.register_profile("project", deadline=None)  # a busy machine is not a failure
settings.load_profile("project")

APART = {"test_claims.py"}  # long, and each test for itself


@pytest.hookimpl(tryfirst=True)  # before the groups are read
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """On several cores a file stays together, and so do the scenarios, which are summed up by their last page."""
    for item in items:
        folder = item.path.parent.name
        if item.path.name not in APART:
            item.add_marker(pytest.mark.xdist_group(folder if folder == "scenarios" else str(item.path)))
