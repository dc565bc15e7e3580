"""The simulated receiver for a rig's own tests, and its pytest fixture in a pytest of its own."""

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

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
def test_what_there_is_not_or_cannot_be_is_refused(ask: dict[str, Any], said: str) -> None:
    with pytest.raises(StationError, match=said):
        Receiver(**ask)


def test_what_looks_at_scans_before_one_has_run_is_an_error_and_no_pass() -> None:
    new = Receiver()
    for look in (lambda: new.never("source_cmd"), lambda: new.step, lambda: new.now("True"),
                 lambda: new.expect("not source_cmd")):  # fmt: skip
        with pytest.raises(ValueError, match="no scan has run yet"):
            look()
    new.run("10ms")
    new.never("source_cmd")


def test_never_takes_the_forms_of_a_file_over_all_scans(mill: Receiver) -> None:
    mill.start()
    mill.run_until("convey")
    mill.never("horn for 10s")
    mill.never("source_cmd unless horn for 2900ms since step == REST")
    with pytest.raises(NotSeen, match="`source_cmd unless fault_lamp since step == REST` never may be so"):
        mill.never("source_cmd unless fault_lamp since step == REST")


@pytest.mark.parametrize(
    ("do", "said"),
    [
        (lambda r: r.fail("motor_overload"), "buckwheat_mill has no motor|has no motor"),
        (lambda r: r.mend("flap_stick_open"), "did you mean 'flap_sticks_open'"),
        (lambda r: r.fail("flap_sticks_open", 0), "amount is 0"),
        (lambda r: r.fail("flap_sticks_open", 1.5), "amount is 1.5"),
        (lambda r: r.fail("flap_sticks_open", grows="soon"), "is not a duration"),
        (lambda r: r.set("vacuum_ua", 4_000), "is driven by its instrument"),
        (lambda r: r.set("plant_enabl", 0), "did you mean 'plant_enable'"),
        (lambda r: r.set("plant_enable", 2), "takes on or off"),
        (lambda r: r.command("strat"), "no command 'strat' - did you mean 'start'"),
        (lambda r: r.command("halt", "pannel"), "no source 'pannel' - did you mean 'panel'"),
        (lambda r: r.power_cut("15ms"), "not whole scans"),
        (lambda r: r.run_until("convay"), "did you mean 'convey'"),
        (lambda r: r.run_until("sorce_cmd"), "did you mean 'source_cmd'"),
        (lambda r: r.expect("sorce_cmd"), "did you mean 'source_cmd'"),
        (lambda r: r.never("sorce_cmd"), "did you mean 'source_cmd'"),
    ],
)
def test_what_cannot_be_done_is_refused_with_the_way_out(mill: Receiver, do: Any, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        do(mill)
    assert mill.ms == 1_000, "refused before anything ran"


def test_points_are_set_by_number_or_by_word(mill: Receiver) -> None:
    mill.set("stop_healthy", 0)
    mill.run("10ms")
    assert mill.now("not stop_healthy")
    mill.set("stop_healthy", "on")
    mill.set("jog", "flap_open_cmd")
    mill.run("10ms")
    assert mill.now("stop_healthy and jog == 3")


def test_after_a_power_cut_it_is_at_rest_and_time_went_on(mill: Receiver) -> None:
    mill.start()
    mill.run_until("convey")
    before_ms = mill.ms
    mill.power_cut("3s")
    assert (mill.ms - before_ms, mill.step) == (3_010, "REST")
    mill.run("10s")
    mill.never("source_cmd unless not powering_up since powering_up")
    assert mill.now("not source_cmd")


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
