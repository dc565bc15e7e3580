"""The simulated receiver for a rig's own tests, and its pytest fixture in a pytest of its own."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from controller.problems import StationError
from controller.testing.receiver import NotSeen, Receiver

ROOT = Path(__file__).parents[2]


@pytest.fixture
def mill() -> Receiver:
    found = Receiver("buckwheat_mill", presets={"convey": {"fill_s": 8}})
    found.run("1s")
    return found


def test_it_starts_stops_and_tells_the_step(mill: Receiver) -> None:
    assert (mill.ms, mill.step) == (1_000, "REST")
    mill.start()
    assert mill.run_until("warning", within="20ms") == 10
    assert mill.now("horn and not source_cmd")
    mill.stop()
    assert mill.expect("step == REST", within="1s") <= 20
    assert mill.expect("not horn") == 0


def test_what_does_not_come_is_told_with_its_grounds(mill: Receiver) -> None:
    with pytest.raises(
        NotSeen, match=r"`convey` did not come within 2s; at 3s:\n  in REST\n(.*\n)*  to WARNING not yet"
    ):
        mill.run_until("convey", within="2s")
    with pytest.raises(NotSeen, match="`source_cmd` is not so; at 3s"):
        mill.expect("source_cmd")
    with pytest.raises(NotSeen, match="`step == REST` never may be so, and was"):
        mill.never("step == REST")
    mill.never("source_cmd")


def test_a_failure_is_set_mended_and_all_are_released(mill: Receiver) -> None:
    mill.fail("flap_sticks_open")
    mill.fail("inlet_hose_off", 0.5)
    mill.mend("inlet_hose_off")
    mill.start()
    mill.run_until("drain")
    with pytest.raises(NotSeen):
        mill.expect("flap_closed", within="20s")
    mill.release()
    mill.expect("flap_closed", within="20s")


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        ({"station": "buckwheat_mil"}, "did you mean 'buckwheat_mill'"),
        ({"presets": {"convey": {"fil_s": 8}}}, "did you mean 'fill_s'"),
        ({"presets": {"convey": {"fill_s": 100_000}}}, "fill_s"),
        ({"seed": 0}, "seed"),
    ],
)
def test_what_there_is_not_or_cannot_be_is_refused(ask: dict[str, object], said: str) -> None:
    with pytest.raises(StationError, match=said):
        Receiver(**ask)


def test_an_unknown_failure_or_condition_is_refused(mill: Receiver) -> None:
    with pytest.raises(ValueError, match="did you mean 'flap_sticks_open'"):
        mill.fail("flap_stick_open")
    with pytest.raises(ValueError, match="did you mean 'source_cmd'"):
        mill.run_until("sorce_cmd")


def run_pytest(tmp_path: Path, text: str) -> str:
    (tmp_path / "test_rig.py").write_text(text, encoding="utf-8")
    words = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "no:cacheprovider",
        "--strict-markers",
        "-rA",
        "test_rig.py",
    ]
    if not plugin_is_installed():
        words[3:3] = ["-p", "controller.testing.plugin"]
    done = subprocess.run(
        words, cwd=tmp_path, env={"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=300
    )
    return done.stdout + done.stderr


def plugin_is_installed() -> bool:
    from importlib.metadata import entry_points

    return any(found.value == "controller.testing.plugin" for found in entry_points(group="pytest11"))


def test_the_fixture_is_the_station_of_the_marker(tmp_path: Path) -> None:
    said = run_pytest(
        tmp_path,
        """\
import pytest

@pytest.mark.receiver("sugar_kitchen", seed=2)
def test_of_a_kitchen(receiver):
    receiver.run("1s")
    receiver.start()
    receiver.run_until("warning", within="1s")
    assert receiver.step == "WARNING"

def test_of_the_mill(receiver):
    receiver.expect("step == CONVEY", within="1s")
""",
    )
    assert "PASSED test_rig.py::test_of_a_kitchen" in said, said
    assert "FAILED test_rig.py::test_of_the_mill - controller.testing.receiver.NotSeen" in said, said
    assert "to WARNING not yet" in said


def test_the_example_of_the_readme_passes(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(@pytest\.mark\.receiver.*?)```", readme, re.S)
    assert "1 passed" in (said := run_pytest(tmp_path, f"import pytest\n\n{example}")), said


def test_nothing_of_it_is_imported_where_no_test_asks(tmp_path: Path) -> None:
    said = run_pytest(
        tmp_path,
        """\
import sys

def test_alone():
    heavy = {"controller.campaign", "controller.sequence", "io_sim", "numpy", "numba", "pydantic", "z3"}
    assert heavy.isdisjoint(sys.modules)
""",
    )
    assert "1 passed" in said, said
