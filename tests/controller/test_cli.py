"""The command line: one way in, three exit codes, never a traceback for wrong input."""

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from controller import cli_screen
from controller.cli import app, station_folder
from controller.engines.claims import CLAIMS
from controller.engines.proof import Claim
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import CONVEY
from controller.station_file import StationError

MILL = "buckwheat_mill"
STATIONS = f"{MILL}, milk_powder_hall, sugar_kitchen"


def test_the_version_is_the_one_of_the_package():
    done = CliRunner().invoke(app, ["--version"])
    assert done.exit_code == 0
    assert done.stdout.startswith("receiver 0.")


def test_an_unknown_option_is_wrong_input():
    assert CliRunner().invoke(app, ["--volume"]).exit_code == 2


def test_help_imports_no_model_no_parser_and_no_compiler():
    """What keeps the answer fast; the time itself is a benchmark."""
    code = (
        "import sys, controller.cli\n"
        "from typer.testing import CliRunner\n"
        "assert CliRunner().invoke(controller.cli.app, ['--help']).exit_code == 0\n"
        "print([m for m in ('pydantic', 'yaml', 'numba', 'numpy', 'z3', 'matplotlib', 'transitions')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_station_is_found_by_name_and_by_path(tmp_path):
    assert (station_folder("buckwheat_mill") / "receiver.yaml").is_file()
    assert station_folder(str(tmp_path)) == tmp_path


def test_an_unknown_station_names_the_nearest_one():
    with pytest.raises(StationError) as caught:
        station_folder("buckweat_mill")
    assert str(caught.value) == (
        f"buckweat_mill: is neither a folder nor one of {STATIONS} - did you mean 'buckwheat_mill'?"
    )


def test_a_file_instead_of_a_folder_is_told_its_folder():
    file = station_folder("buckwheat_mill") / "receiver.yaml"
    with pytest.raises(StationError) as caught:
        station_folder(str(file))
    assert str(caught.value) == f"{file}: is a file: name its folder, {file.parent}"


def test_wrong_input_ends_with_2_and_a_message(tmp_path):
    """`main` turns the error of any command into a message."""
    code = (
        "import sys, controller.cli as cli\n"
        "@cli.app.command()\n"
        "def probe(station: str): cli.station_folder(station)\n"
        "sys.argv = ['receiver', 'probe', 'nowhere']\n"
        "cli.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == f"nowhere: is neither a folder nor one of {STATIONS}\n"


def test_a_wheel_carries_its_stations(tmp_path, monkeypatch):
    """Installed, the stations lie in the package: `importlib.resources` finds them first."""
    packaged = tmp_path / "controller" / "_configs" / "other_mill"
    packaged.mkdir(parents=True)
    (packaged / "receiver.yaml").write_text("")
    monkeypatch.setattr("importlib.resources.files", lambda _: Path(tmp_path / "controller"))
    assert station_folder("other_mill") == packaged


def test_the_diagram_groups_the_steps_by_state_and_names_every_guard():
    done = CliRunner().invoke(app, ["diagram", "buckwheat_mill"])
    assert done.exit_code == 0
    assert "state FILTER_CLEAN {" in done.stdout
    assert "SEAL --> REOPEN" in done.stdout


def test_the_causes_are_listed_a_line_an_interlock_line():
    done = CliRunner().invoke(app, ["diagram", "buckwheat_mill", "--causes"])
    assert done.exit_code == 0
    assert len(done.stdout.splitlines()) == 2 + len(RECEIVER.interlocks)
    lost = next(line for line in done.stdout.splitlines() if line.startswith("| FLAP_LOST_CLOSED | "))
    assert " | PURGE, DRAW, CONVEY, CLEAR | flap_lost_ms | trip |" in lost


def test_a_picture_that_cannot_be_written_is_said_with_its_path():
    done = CliRunner().invoke(app, ["diagram", "buckwheat_mill", "--out", "no/such/folder/x.svg"])
    assert done.exit_code == 2
    assert "no/such/folder/x.svg" in done.output


def test_prove_says_each_promise_and_ends_in_1_when_one_fails(monkeypatch):
    """The claims are proved in their own test; here two of them, and one that is false."""
    two = (CLAIMS[0], Claim("the receiver never conveys", then=lambda s: s.step != CONVEY))
    monkeypatch.setattr("controller.engines.proving.CLAIMS", two)
    done = CliRunner().invoke(app, ["prove", "buckwheat_mill"])
    assert done.exit_code == 1
    assert CLAIMS[0].name in done.output
    assert "the receiver never conveys" in done.output


@pytest.mark.parametrize(
    "asked", [("run", MILL), ("plant", MILL), ("command", MILL, "stop"), ("hold", MILL, "horn"),
              ("fail", MILL, "line_blocked"), ("points", MILL, "--live")],
)  # fmt: skip
def test_where_the_system_has_not_what_a_rig_needs_that_is_said(asked, monkeypatch):
    monkeypatch.setattr(cli_screen, "sys", SimpleNamespace(platform="win32"))
    done = CliRunner().invoke(app, list(asked))
    assert done.exit_code == 2
    assert "on Linux or macOS only" in done.stderr
    assert done.stdout == ""
