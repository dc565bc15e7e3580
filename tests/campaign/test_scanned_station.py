"""The station scan by scan: the same as in virtual time to the bit; paced by a clock; with a link that fails."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.campaign.conditions import Reader, plant_readings
from controller.campaign.drive import Driven
from controller.campaign.runner import Runner
from controller.campaign.scanned_station import ScannedStation
from controller.campaign.target import Chunk
from controller.clock import SteppedClock
from controller.engines.as_written import AsWritten
from controller.image import Inputs, Outputs
from controller.port import NEVER_MS
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.stations import station_folder
from io_sim.settings import load_plant

LOGIC = Logic(RECEIVER)
ENGINE = AsWritten(LOGIC)
RUNNER = Runner(LOGIC, "generated")
MILL = station_folder("buckwheat_mill")
PLANT, PRESETS = load_plant(MILL), load_station(MILL).receiver.presets
STORY = """\
title: t
why: w
station: buckwheat_mill
presets: {start: {warning_ms: 500}, drain: {drain_s: 1}}
timeline:
  - at: 1s
    command: start
  - when: flap_open_cmd and plant_flap_open_permille > 500
    fail: neighbour_draws
    amount: 0.7
    grows: 2s
  - enters: drain
    power_cut: 900ms
  - after: 1s
    set: [safety_chain_healthy off]
lasts: 1s
"""


def station(clock: SteppedClock | None = None, presets: Any = PRESETS) -> ScannedStation:
    readings = {"plant_source_open_permille": plant_readings()["plant_source_open_permille"]}
    return ScannedStation(ENGINE, presets, PLANT, readings.items(), 1, watchdog_ms=500, clock=clock)


def column(chunks: list[Chunk], name: str) -> list[int]:
    if name in Inputs._fields:
        return [int(v) for chunk in chunks for v in chunk.inputs[:, Inputs._fields.index(name)]]
    return [int(v) for chunk in chunks for v in chunk.commanded[:, Outputs._fields.index(name)]]


def test_it_is_the_station_of_virtual_time_scan_for_scan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "story.yaml"
    file.write_text(STORY, encoding="utf-8")
    scenario = RUNNER.load(file, station_folder)

    def whole(driven: Driven) -> tuple[Any, ...]:
        chunks = driven.chunks
        inputs = np.vstack([c.inputs for c in chunks])
        inputs[:, Inputs._fields.index("io_life")] = 0  # a link of its own counts, virtual time does not
        readings = {n: np.concatenate([c.readings[n] for c in chunks]).tolist() for n in chunks[0].readings}
        return (
            inputs.tolist(),
            np.vstack([c.commanded for c in chunks]).tolist(),
            readings,
            driven.moments,
            driven.done,
        )

    virtual, _ = RUNNER.drive(scenario)
    monkeypatch.setattr("controller.campaign.runner.link_fails", lambda _: True)
    scanned, recording = RUNNER.drive(scenario)
    assert whole(scanned) == whole(virtual)
    assert {chunk.scans for chunk in scanned.chunks} == {1}
    assert RUNNER.run(scenario).judged is not None
    assert not [d for piece in recording.pieces() for d in recording.disagreements(piece, ENGINE)]


@pytest.mark.parametrize(
    "text",
    [
        "source_cmd",
        "step == REST and not run",
        "plant_source_open_permille < 5 and dt_ms == 10",
        "fill_ms > 1_000",
    ],
)
def test_a_condition_is_seen_in_the_scan_itself(text: str) -> None:
    condition, on = Reader(LOGIC).read(text), station()
    seen = on.comes_true(condition, on.advance(1))
    assert seen == [text != "source_cmd"]


def test_each_scan_comes_at_its_time() -> None:
    clock = SteppedClock()
    on = station(clock)
    for k in range(1, 50):
        on.advance(100)
        assert (on.now_ms, clock.now_ms()) == (10 * k, 10 * k)
    assert on.latest_ms == 0


def test_a_late_scan_moves_those_behind_it_and_is_told() -> None:
    clock = SteppedClock()
    on = station(clock)
    on.advance(1)
    clock.sleep_until(75)
    on.advance(1)
    assert (on.now_ms, clock.now_ms(), on.latest_ms) == (20, 75, 55)
    on.advance(1)
    assert (on.now_ms, clock.now_ms()) == (30, 85)
    assert on.reading("clock_s") == pytest.approx(0.03), "the plant stands still while nobody scans"


def drawing(on: ScannedStation) -> ScannedStation:
    """Until product is called for."""
    until(on, 500)
    on.point("start_pb", 1)
    for _ in range(3_000):
        if column([on.advance(1)], "feed_cmd") == [1]:
            return on
    pytest.fail("it never drew")


def until(on: ScannedStation, scans: int) -> list[Chunk]:
    return [on.advance(1) for _ in range(scans)]


@pytest.mark.parametrize("mode", ["link_silent", "link_drops"])
def test_a_link_that_is_gone_lets_the_image_grow_old_and_the_outputs_hold_for_the_watchdog(mode: str) -> None:
    on = drawing(station())
    on.fail(mode, 1, 0)
    chunks = until(on, 60)
    assert column(chunks, "image_age_ms") == list(range(10, 610, 10))
    assert len(set(column(chunks, "vacuum_ua"))) == 1, "the last image, again and again"
    assert column(chunks, "source_cmd") == [1] * 20 + [0] * 40, "io_lost_ms is 200"
    assert column(chunks, "fault_lamp")[-1] == 1
    opened = [int(chunk.readings["plant_source_open_permille"][0]) for chunk in chunks]
    assert min(opened[:49]) > 900, "at the machine it goes on until the watchdog drops it"
    assert opened[-1] < opened[50]
    on.fail(mode, 0, 0)
    assert column(until(on, 10), "image_age_ms") == [NEVER_MS, *[0] * 9], "told once more that it was lost"
    assert not any(column(until(on, 300), "source_cmd")), "nothing starts by itself"


def test_a_life_counter_that_stands_still_is_noticed_though_the_image_is_fresh() -> None:
    on = drawing(station(presets=PRESETS._replace(io_life_watched=True)))
    on.fail("life_stands", 1, 0)
    chunks = until(on, 40)
    assert column(chunks, "image_age_ms") == [0] * 40
    assert len(set(column(chunks, "io_life"))) == 1
    assert column(chunks, "source_cmd")[-1] == 0


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("fail: link_silent\n    amount: 0.5", "a link fails whole"),
        ("fail: link_drops\n    grows: 2s", "a link fails whole"),
    ],
)
def test_half_a_link_does_not_fail(tmp_path: Path, entry: str, said: str) -> None:
    from controller.problems import StationError

    file = tmp_path / "one.yaml"
    file.write_text(f"title: t\nwhy: w\nstation: buckwheat_mill\ntimeline:\n  - at: 1s\n    {entry}\n")
    with pytest.raises(StationError, match=said):
        RUNNER.load(file, station_folder)


def test_in_real_time_the_same_files_pass_side_by_side(tmp_path: Path) -> None:
    """Two of the short ones, at the rate of the room: so that the clock of the room is seen to pace them."""
    from controller.campaign.command import Ask, results
    from controller.campaign.where import read_on

    folder = Path(__file__).parents[2] / "configs" / "scenarios_wire"
    files = [folder / "horn_before_anything_moves.yaml", folder / "flap_lost_while_drawing.yaml"]
    done = list(results(Ask(files, None, 2, on=read_on("realtime", 1.0, 2)), station_folder))
    assert [(r.verdict, r.broken, r.executor) for r in done] == [
        ("passed", "", "transitions in real time")
    ] * 2
    assert all(r.took_s * 1_000 >= r.ran_ms for r in done)
