"""The page of a run, as text: it asks for nothing, says what was recorded, and can be read."""

import json
import re
from itertools import accumulate
from pathlib import Path
from typing import Any

import pytest
from campaign.failing_run import failing_page, failing_run

from controller.campaign.results import result_of
from controller.campaign.run_data import POINT_OF, data_of
from controller.campaign.run_page import _part, page_of
from controller.campaign.runner import Runner
from controller.image import FIELD_INPUTS
from controller.sequence.steps import STATES, Step
from controller.stations import station_folder
from io_sim.failures import CONTACTS


def data(page: str | None = None) -> dict[str, Any]:
    page = page or failing_page()
    found = re.search(r'<script type="application/json" id="run">(.*?)</script>', page, re.DOTALL)
    assert found
    document: dict[str, Any] = json.loads(found[1])
    return document


def lane(label: str) -> dict[str, Any]:
    return next(lane for lane in data()["lanes"] if lane["label"] == label)


def test_the_page_names_no_address_and_forbids_itself_any() -> None:
    page = failing_page()
    assert not re.search(
        r"https?:|//[a-z]|src=|@import|url\((?!#)", page.replace("http://www.w3.org/2000/svg", "")
    )
    assert "default-src 'none'" in page


def test_no_text_of_a_scenario_can_end_the_script_it_stands_in() -> None:
    assert "Nothing </script>" not in failing_page()
    assert data()["title"].startswith("Nothing </script><b> may")


def test_the_steps_of_the_page_are_those_that_were_recorded() -> None:
    outcome, _ = failing_run()
    assert outcome.recording is not None
    trace, scan_ms = lane("step"), outcome.recording.scan_ms
    points = list(zip([t * scan_ms for t in accumulate(trace["t"])], trace["v"], strict=True))
    for piece in outcome.recording.pieces():
        for k, step in enumerate(piece.columns.this("step").tolist()):
            at_ms = piece.first_ms + k * scan_ms
            assert [v for t, v in points if t <= at_ms][-1] == step


def test_every_step_has_its_state() -> None:
    document = data()
    for step in Step:
        assert step in STATES[document["states"][document["state_of"][step]]]


def test_only_points_that_move_or_are_read_have_a_lane() -> None:
    labels = {lane["label"] for lane in data()["lanes"]}
    assert {"horn", "start_pb", "level_free", "source_cmd"} & labels == {"horn", "start_pb", "level_free"}


def test_a_text_that_holds_a_mark_of_the_page_stays_a_text() -> None:
    outcome, result = failing_run()
    title = "of /*data*/ and /*script*/ and /*style*/ and <!--title-->"
    page = page_of(outcome, result._replace(title=title))
    assert data(page) == {**data(), "title": title}
    assert len(page) - len(failing_page()) < 300


def test_a_point_that_a_failure_mode_a_set_or_an_expectation_names_has_a_lane_though_it_stands_still(
    tmp_path: Path,
) -> None:
    file = tmp_path / "still.yaml"
    file.write_text(
        "title: t\nwhy: w\nstation: buckwheat_mill\ntimeline:\n  - at: 100ms\n    fail: level_probe_stuck_free\n"
        "    set: [plant_enable on]\n    expect:\n      - keeps: not purge_cmd\n        within: 100ms\n"
        "      - first_out: NO_VACUUM\n        within: 100ms\n",
        encoding="utf-8",
    )
    runner = Runner(name="generated")
    outcome = runner.run(runner.load(file, station_folder))
    assert runner.engine is not None
    lanes = {lane["label"]: lane for lane in data_of(outcome, result_of(outcome, runner.engine))["lanes"]}
    for name in ("level_free", "plant_enable", "purge_cmd", "NO_VACUUM"):
        assert len(lanes[name]["v"]) == 1, "it stands still"
    assert "source_cmd" not in lanes


def test_every_contact_of_the_catalogue_has_its_point() -> None:
    assert {contact.name for contact in CONTACTS} <= set(POINT_OF)
    assert set(POINT_OF.values()) <= set(FIELD_INPUTS)


def test_each_failed_verdict_has_the_facts_of_its_own_moment() -> None:
    _, result = failing_run()
    bad = sorted((v for v in data()["verdicts"] if not v["good"]), key=lambda v: int(v["at"]))
    assert [v["facts"] for v in bad] == [list(facts.said) for facts in result.facts]
    assert [v["at"] for v in bad] == [facts.at_ms for facts in result.facts]
    assert len({tuple(v["facts"]) for v in bad}) > 1
    assert all(v["facts"] == [] for v in data()["verdicts"] if v["good"])


def test_a_failure_that_was_set_is_a_bar_from_its_begin_to_its_end() -> None:
    bar = lane("level_probe_stuck_covered")
    assert list(zip(accumulate(bar["t"]), bar["v"], strict=True)) == [(0, 0), (6_000, 1), (8_000, 0)]


def test_time_without_power_is_a_gap() -> None:
    assert data()["gaps"] == [[9_000, 10_010]]


def test_verdicts_stand_with_their_windows_and_reasons() -> None:
    late, warning, never, _ = data()["verdicts"]
    assert (late["good"], late["first"], late["last"], late["at"]) == (False, 1_000, 4_000, 4_000)
    assert late["because"].startswith("it takes longer")
    assert (warning["good"], warning["first"], warning["last"]) == (True, 1_000, 1_100)
    assert never["wrong"]
    assert not never["good"]


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (W3C, terms: "relative luminance")."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_measured_as_the_standard_does() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(
        4.48, abs=0.01
    )  # the well known near miss; from memory


@pytest.mark.parametrize("place", [0, 1], ids=["light", "dark"])
def test_all_text_has_the_contrast_of_wcag_level_aa(place: int) -> None:
    """4.5 for text (success criterion 1.4.3), 3 for what must be told apart (1.4.11)."""
    schemes = re.findall(r":root \{(.*?)\}", _part("page.css"), re.DOTALL)
    c = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})\b", schemes[place]))
    texts = [("ink", paper) for paper in ("paper", "panel", "bad-paper", *STATES)]
    texts += [(ink, paper) for ink in ("faint", "link") for paper in ("paper", "panel")]
    texts += [("faint", "bad-paper"), ("bad", "bad-paper"), ("bad", "paper"), ("good", "paper")]
    assert {f"{a} on {b}": contrast(c[a], c[b]) for a, b in texts if contrast(c[a], c[b]) < 4.5} == {}
    edges = ("on", "act", "fail", "line", "line-2", "cursor", "gap")
    assert {e: contrast(c[e], c["paper"]) for e in edges if contrast(c[e], c["paper"]) < 3} == {}
