"""The station check as a whole: whatever is allowed gets its findings; the report; the command."""

import ast
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from check_stations import ALL, MEDIUM, named
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from controller.cli import station_folder
from controller.sequence.presets import Presets
from controller.sequence.presets import limits as preset_limits
from controller.settings import load_station
from controller.station_check import air
from controller.station_check.report import CAUTIONS, Report, as_json, check_station, judge
from controller.station_check.tables import show
from io_sim.parameters import limits as plant_limits
from io_sim.parameters import problems
from io_sim.settings import load_plant


def refused(constant: str) -> None:
    """Infinity and NaN are no JSON: RFC 8259, section 6."""
    raise AssertionError(constant)


def anywhere(ranges: dict[str, Any], whole: bool) -> st.SearchStrategy[dict[str, Any]]:
    """Some values, anywhere within their limits."""

    def value(limits: Any) -> st.SearchStrategy[float]:
        if whole or limits.choices:
            return st.integers(int(limits.low), int(limits.high))
        return st.floats(limits.low, limits.high)

    return st.fixed_dictionaries(
        {}, optional={name: value(limits) for name, limits in ranges.items() if "_share_" not in name}
    )


@settings(max_examples=60, deadline=None)
@given(plant=anywhere(plant_limits(), whole=False), presets=anywhere(preset_limits(), whole=True))
def test_whatever_is_allowed_in_the_files_gets_its_findings(
    plant: dict[str, Any], presets: dict[str, Any]
) -> None:
    parameters = MEDIUM._replace(**plant)
    if problems(parameters):
        return
    predicted, found = judge(parameters, Presets()._replace(**presets), ALL)
    report = Report("R-1", "", "", predicted, 0.0, found, CAUTIONS)
    assert json.loads(as_json(report), parse_constant=refused)["errors"] == report.count("error")
    printed = Console(file=io.StringIO(), width=200)
    show(report, printed)
    said = printed.file.getvalue() + as_json(report)  # type: ignore[attr-defined]
    assert re.search(r"\b(inf|nan|never s)\b", said) is None


def test_the_check_knows_formulas_and_parameters_of_the_simulator_and_nothing_else() -> None:
    """So that a simulated hour is a check of the prediction and not its source."""
    allowed = ("io_sim.formulas_", "io_sim.parameters", "io_sim.settings")
    files = sorted(Path(air.__file__).parent.glob("*.py"))
    trees = [ast.parse(file.read_text()) for file in files]
    froms = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    modules = {f"{node.module}.{name.name}" for node in froms for name in node.names}
    seen = {module for module in modules if module.startswith("io_sim")}
    assert len(seen) > 10
    assert {module for module in seen if not module.startswith(allowed)} - {"io_sim.settings"} == set()


ACCEPTED = {
    "buckwheat_mill": [
        "feed-point velocity, low air",
        "against saltation, low air",
        "proving, nearer margin",
    ],
    "sugar_kitchen": ["feed-point velocity, low air", "flap.flap_kind: vacuum_held"],
    "milk_powder_hall": [],
}
"""Warnings that the files of a station explain and leave."""


@pytest.mark.parametrize("station", ACCEPTED)
def test_each_station_passes_with_the_warnings_that_its_files_explain(station: str, demo: Path) -> None:
    report = check_station(demo.parent / station)
    assert [item.what for item in report.findings if item.verdict == "error"] == []
    assert [item.what for item in report.findings if item.verdict == "warning"] == ACCEPTED[station]


def test_a_drain_shorter_than_a_hanging_flap_needs_is_an_error(demo: Path) -> None:
    """The sugar itself is out in 0.7 s, but its flap is back on the seat only after 3 s (simulated)."""
    folder = demo.parent / "sugar_kitchen"
    station, plant = load_station(folder), load_plant(folder)
    for drain_ms, verdict in ((2_000, "error"), (3_300, "warning"), (4_000, "ok")):
        found = judge(plant, station.receiver.presets._replace(drain_ms=drain_ms), station.wired)[1]
        assert named(found, "drain.drain_s").verdict == verdict


def test_every_station_that_comes_along_is_checked(demo: Path) -> None:
    assert {receiver.parent.name for receiver in demo.parent.glob("*/receiver.yaml")} == {*ACCEPTED}


def test_command_exits_by_verdict_and_prints_json(demo: Path, tmp_path: Path, receiver: Any) -> None:
    good = receiver("check", str(demo), "--json")
    assert good.code == 0
    assert json.loads(good.out)["station"] == "R-101"
    bad = tmp_path / "bad"
    bad.mkdir()
    for file in demo.glob("*.yaml"):
        text = file.read_text().replace("proving_kpa: 1.2", "proving_kpa: 15")
        (bad / file.name).write_text(text)
    failed = receiver("check", str(bad))
    assert failed.code == 1
    assert "lower proving.proving_kpa" in failed.out or "proving.proving_kpa to about" in failed.out
    assert "No sizing guarantee" in failed.out
    (bad / "plant.yaml").write_text("line:\n  bore_mm: fat\n")
    wrong = receiver("check", str(bad))
    assert wrong.code == 2
    assert "plant.yaml:2:12: line.bore_mm" in wrong.err


class Ran:
    """What a command said."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err


@pytest.fixture
def demo() -> Path:
    return Path(__file__).parents[2] / "configs" / "buckwheat_mill"


@pytest.fixture
def receiver(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """The command line, in this process."""
    from controller.cli import main

    def run(*words: str) -> Ran:
        monkeypatch.setattr("sys.argv", ["receiver", *words])
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        return Ran(int(left.value.code or 0), " ".join(said.out.split()), said.err)

    return run


@pytest.mark.parametrize("name", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
def test_the_advice_on_the_proving_threshold_once_taken_is_good(name: str) -> None:
    """No advice that the next check takes back."""
    folder = station_folder(name)
    station, plant = load_station(folder), load_plant(folder)
    presets = station.receiver.presets._replace(proving_pa=900)
    advised = named(judge(plant, presets, station.wired)[1], "proving.proving_kpa").computed
    assert advised, "kPa"
    after = judge(plant, presets._replace(proving_pa=round(1_000 * advised)), station.wired)[1]
    assert named(after, "proving.proving_kpa").verdict == "ok"
    assert named(after, "proving, nearer margin").verdict == "ok"
