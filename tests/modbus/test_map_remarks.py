"""What a map lets happen between its requests: outputs of two scans, inputs of two instants."""

import shutil

import pytest
from modbus.answering import CONFIGS, the_map

from controller.modbus.map_remarks import remarks
from controller.modbus.point_map import PointMap, load_point_map
from controller.points import load_points
from controller.sequence.presets import Presets
from controller.station_check.findings_wire import wire_findings

PRESETS = Presets()
HORN = "  horn: {table: coil, address: 7, "


def torn(tmp_path) -> PointMap:
    """The sugar kitchen with its horn at a coil of its own: two requests for the outputs."""
    shutil.copy(CONFIGS / "sugar_kitchen" / "points.yaml", tmp_path)
    text = (CONFIGS / "sugar_kitchen" / "modbus.yaml").read_text("utf-8")
    assert HORN in text
    moved = text.replace(HORN + 'reference: "00008"}', "  horn: {table: coil, address: 20}")
    (tmp_path / "modbus.yaml").write_text(moved, "utf-8")
    return load_point_map(tmp_path, load_points(tmp_path))


@pytest.mark.parametrize(
    ("station", "said"),
    [
        ("buckwheat_mill", ["inputs come in 2 requests, not of one instant"]),
        ("sugar_kitchen", []),
        ("milk_powder_hall", []),
    ],
)
def test_of_the_shipped_stations_no_outputs_may_be_torn(station, said):
    found = remarks(the_map(station))
    assert [one.what for one in found] == said
    assert not any(one.warns for one in found)


def test_outputs_in_two_requests_are_warned_of_with_the_way_out(tmp_path):
    (warned,) = remarks(torn(tmp_path))
    assert warned.warns
    assert warned.what == "outputs go out in 2 requests"
    assert all(word in warned.follows for word in ("side by side", "watchdog", "life.controller"))
    assert str(tmp_path / "modbus.yaml") in warned.follows


def test_a_check_finds_the_same(tmp_path):
    found, _ = wire_findings(torn(tmp_path), PRESETS)
    assert (found.verdict, found.what) == ("warning", "outputs go out in 2 requests")
    remark, _ = wire_findings(the_map("buckwheat_mill"), PRESETS)
    assert remark.verdict == "ok"


@pytest.mark.parametrize(
    ("watchdog_ms", "io_lost_ms", "verdict"),
    [(500, 200, "ok"), (800, 200, "ok"), (801, 200, "warning"), (500, 499, "ok"), (10_000, 499, "warning")],
)
def test_valves_that_stay_energised_for_over_a_second_after_the_last_count_are_warned_of(
    watchdog_ms, io_lost_ms, verdict
):
    """Loss of I/O and watchdog together under a second: common practice, no source."""
    found = the_map("sugar_kitchen")._replace(watchdog_ms=watchdog_ms)
    (one,) = wire_findings(found, PRESETS._replace(io_lost_ms=io_lost_ms))
    assert (one.verdict, one.what, one.figure) == (verdict, "watchdog_ms", watchdog_ms)
    assert one.high == 1_000 - io_lost_ms
    assert found.file in one.change


def test_where_the_loss_of_io_takes_half_a_second_no_watchdog_can_be_right():
    (one,) = wire_findings(the_map("sugar_kitchen"), PRESETS._replace(io_lost_ms=500))
    assert (one.verdict, one.has_room) == ("warning", False)
    assert "needs a shorter backstops.io_lost_ms" in one.change
