"""What the tests of the panel share."""

import tempfile

import pytest


@pytest.fixture
def mill(tmp_path, monkeypatch):
    """The folder of a station named "mill"; the sockets lie in a folder of this test's own, of a short path."""
    folder = tmp_path / "mill"
    folder.mkdir()
    with tempfile.TemporaryDirectory(prefix="rx") as runtime:
        monkeypatch.setenv("XDG_RUNTIME_DIR", runtime)
        yield folder
