"""What every test shares."""

import pytest
from hypothesis import settings

# a busy machine is not a failure, and a run can be repeated; `--hypothesis-profile explore` looks further
settings.register_profile("project", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=2_000)
settings.load_profile("project")

LONGEST = (
    "test_failure_modes.py", "test_claims.py", "test_dead_ends.py", "test_random_runs.py", "test_box.py",
    "test_library.py", "test_prediction_agrees.py", "test_search.py", "test_guards.py",
)  # fmt: skip
"""Begun first, so that no process is left alone with one of them at the end."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The files that take longest first; the first of them compiles what others find compiled."""
    items.sort(key=lambda item: LONGEST.index(item.path.name) if item.path.name in LONGEST else len(LONGEST))
