"""The station check over the options of a station: motor, places of the transmitter, probes, flap, groups."""

from typing import Any

import pytest
from check_stations import ALL, MEDIUM, SOUND_PLANT, SOUND_PRESETS, found, named

from controller.options import WIRED_WHEN
from controller.sequence.presets import Presets
from controller.station_check import findings_options
from controller.station_check.findings_motor import NEMA_MG_10, allowed
from controller.station_check.prediction import predict
from controller.station_check.report import judge

BLOWER = {
    "source_kind": 1.0, "source_bypass": 1.0, "source_vacuum_max_pa_v": 36e3, "source_free_flow_kg_s": 0.085,
    "source_relief_pa_v": 30e3, "source_spin_up_s": 2.0, "source_run_down_s": 6.0, "source_motor_kw": 7.5,
    "source_motor_poles": 2.0,
}  # fmt: skip
MOTOR = {
    "source_kind": 1, "bypass_fitted": True, "run_feedback_fitted": True, "overload_fitted": True,
    "vacuum_high_pa": 24_000, "start_spacing_ms": 667_000, "motor_off_min_ms": 100_000, "run_on_ms": 560_000,
    "clear_ms": 5_000, "transit_ms": 1_700,
}  # fmt: skip


def words_of(plant: dict[str, Any], presets: dict[str, Any], wired: frozenset[str] = ALL) -> list[str]:
    """Remarks, without a figure."""
    return [item.what for item in found(plant, presets, wired) if item.figure is None]


# ---- motor ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hp", "poles", "starts", "rest"),
    [
        (3, 4, 19.8, 40),
        (10, 4, 12.5, 46),
        (20, 4, 9.6, 55),
        (10, 2, 6.2, 92),
        (25, 4, 8.8, 58),
        (50, 6, 7.7, 64),
    ],
)
def test_starts_of_a_motor_are_those_of_nema_mg_10_table_2_3(hp, poles, starts, rest) -> None:
    """Columns A and C of the table, as the EASA electrical engineering handbook prints it."""
    assert tuple(allowed(hp * 0.7457, poles)) == (starts, rest)


def test_a_larger_motor_and_fewer_poles_start_less_often_and_rest_longer() -> None:
    """The table's own order, so that a slip in copying shows."""
    for rows in NEMA_MG_10.values():
        starts, rests = [row.starts_h for row in rows.values()], [row.rest_s for row in rows.values()]
        assert starts == sorted(starts, reverse=True)
        assert rests == sorted(rests)
    for hp in NEMA_MG_10[4]:
        assert NEMA_MG_10[2][hp].starts_h < NEMA_MG_10[4][hp].starts_h < NEMA_MG_10[6][hp].starts_h
        assert NEMA_MG_10[2][hp].rest_s > NEMA_MG_10[4][hp].rest_s > NEMA_MG_10[6][hp].rest_s


@pytest.mark.parametrize(
    ("kw", "hp"), [(0.3, 1), (2.2, 3), (3.0, 5), (5.5, 7.5), (7.5, 10), (11, 15), (75, 50)]
)
def test_between_two_sizes_the_larger_counts_and_a_kw_size_is_its_hp_size(kw, hp) -> None:
    """IEC and NEMA ratings go together as 2.2 kW 3 hp, 5.5 kW 7.5 hp, 7.5 kW 10 hp: common practice."""
    assert allowed(kw, 4) == NEMA_MG_10[4][hp]


def test_a_sound_blower_has_nothing_against_it_but_the_line() -> None:
    wrong = [item.what for item in found(BLOWER, MOTOR) if item.verdict == "error"]
    assert wrong == []
    assert named(found(BLOWER, MOTOR), "motor starts an hour").verdict == "ok"


def test_an_ejector_has_no_findings_of_a_motor() -> None:
    assert not any("motor" in item.what for item in found({}, {}))


def test_a_motor_without_bypass_would_start_with_every_batch() -> None:
    """34 s a batch are 105 starts an hour; 7.5 kW of two poles stands 6.2."""
    alone = {**MOTOR, "bypass_fitted": False}
    starts = named(found({**BLOWER, "source_bypass": 0.0}, alone), "motor starts an hour")
    assert (starts.verdict, starts.high) == ("error", 6.2)
    assert starts.figure is not None
    assert starts.figure > 60.0
    waited = predict(SOUND_PLANT._replace(**BLOWER), SOUND_PRESETS._replace(**alone)).steps
    assert waited.cycle_ms == pytest.approx(alone["start_spacing_ms"])
    assert predict(SOUND_PLANT._replace(**BLOWER), SOUND_PRESETS._replace(**MOTOR)).steps.motor_rest_ms == 0.0


@pytest.mark.parametrize(
    ("what", "plant", "presets"),
    [
        ("source.start_spacing_s", {}, {"start_spacing_ms": 300_000}),
        ("source.motor_off_min_s", {}, {"motor_off_min_ms": 30_000}),
        ("source.spin_up_ms", {"source_spin_up_s": 4.0}, {}),
        ("source.run_down_s", {"source_run_down_s": 30.0}, {}),
        ("convey.vacuum_high_kpa", {"source_relief_pa_v": 25e3}, {}),
    ],
)
def test_each_finding_of_a_motor_sees_its_mistake(what, plant, presets) -> None:
    assert named(found(BLOWER, MOTOR), what).verdict != "error"
    assert named(found({**BLOWER, **plant}, {**MOTOR, **presets}), what).verdict == "error"


def test_holds_in_short_succession_are_warned_of() -> None:
    hunting = named(found(BLOWER, {**MOTOR, "run_on_ms": 0}), "motor starts an hour")
    assert hunting.verdict == "warning"
    assert "run_on" in hunting.change


# ---- where the vacuum is read ---------------------------------------------------------------------------

CLEAN = {"vacuum_side": 1}
CLEAN_PLANT = {"transmitter_vacuum_side": 1.0}


def test_a_dirty_filter_on_the_clean_side_passes_an_absolute_threshold() -> None:
    """
    The trap of the clean side: with drag eight times as high it reads like product with no product in the line.

    Cured by taking the measured drop of the filter off; a dirty side never sees the filter.
    """
    blind = {**CLEAN_PLANT, "filter_cake_resistance_1_s": 9e5}
    seen = named(found(blind, CLEAN), "convey.no_material_kpa")
    assert seen.verdict == "warning"
    assert not seen.has_room
    assert "transmitter of the filter's pressure drop" in seen.change
    cured = named(found(blind, {**CLEAN, "dp_fitted": True}), "convey.no_material_kpa")
    dirty_side = named(found({"filter_cake_resistance_1_s": 9e5}, {}), "convey.no_material_kpa")
    assert cured.has_room
    assert (cured.low, cured.high) == (dirty_side.low, dirty_side.high)


def test_the_clean_side_reads_more_than_the_dirty_side() -> None:
    high = "convey.vacuum_high_kpa"
    dirty, clean = named(found({}, {}), high), named(found(CLEAN_PLANT, CLEAN), high)
    assert clean.low is not None
    assert dirty.low is not None
    assert clean.low > dirty.low


def test_a_relative_threshold_is_judged_by_what_it_becomes() -> None:
    relative = {"no_material_relative": True}
    good = named(found({}, {**relative, "no_material_percent": 170}), "convey.no_material_percent")
    assert good.verdict == "ok"
    assert (
        named(found({}, {**relative, "no_material_percent": 110}), "convey.no_material_percent").verdict
        == "error"
    )
    until_known = named(found({}, {**relative, "no_material_pa": 20_000}), "convey.no_material_kpa")
    assert until_known.verdict == "warning"


def test_without_a_transmitter_its_thresholds_are_not_judged_and_the_times_are() -> None:
    timed = {item.what for item in found({}, {"vacuum_by": 2})}
    assert not timed & {"proving.proving_kpa", "convey.no_material_kpa", "signals.vacuum_range_kpa"}
    assert "vent.vent_timed_s" in timed
    assert named(found({}, {"vacuum_by": 2, "vent_timed_ms": 1_000}), "vent.vent_timed_s").verdict == "error"


def test_a_vacuum_switch_is_held_against_hose_off_and_air_only() -> None:
    at = {"vacuum_by": 1}
    assert named(found({"switch_vacuum_pa_v": 1_400.0}, at), "switch.vacuum_kpa_v").verdict == "ok"
    for wrong in (600.0, 4_000.0):
        assert named(found({"switch_vacuum_pa_v": wrong}, at), "switch.vacuum_kpa_v").verdict == "warning"


def test_a_supply_switch_is_the_low_limit_where_there_is_no_transmitter() -> None:
    at = {"supply_by": 1}
    rest, drawing = "supply at rest", "feed-point velocity, low air"
    assert named(found({"switch_supply_pa_g": 550e3}, at), rest).verdict == "ok"
    assert named(found({"switch_supply_pa_g": 720e3}, at), rest).verdict == "error"
    low = named(found({"switch_supply_pa_g": 400e3}, at), drawing)
    high = named(found({"switch_supply_pa_g": 600e3}, at), drawing)
    assert low.figure is not None
    assert high.figure is not None
    assert low.figure < high.figure
    assert not any(item.what.startswith("supply_air.supply_lo") for item in found({}, at))


# ---- filter, probes, flap, level ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "verdict", "plant", "presets"),
    [
        ("filter_clean.dp_warn_kpa", "error", {}, {"dp_warn_pa": 2_000}),
        ("filter_clean.dp_trip_kpa", "warning", {}, {"dp_trip_pa": 5_500}),
        ("filter_clean.dp_min_kpa", "warning", {}, {"dp_min_pa": 2_000}),
        ("signals.dp_range_kpa", "error", {"transmitter_dp_range_pa": 10e3}, {}),
    ],
)
def test_limits_of_the_filter_drop_see_their_mistake(what, verdict, plant, presets) -> None:
    fitted = {"dp_fitted": True}
    assert named(found({}, fitted), what).verdict == "ok"
    assert named(found(plant, {**fitted, **presets}), what).verdict == verdict
    assert not any("dp_" in item.what for item in found({}, {}))


def test_a_receiver_full_probe_ends_the_fill_at_its_own_volume() -> None:
    """By hand: 0.97 x 14 l x 0.55 kg/l / 0.45 kg/s = 16.6 s, the transit, and 330 ms of delay."""
    plant = SOUND_PLANT._replace(body_probe_share=1.0, body_probe_splash=0.03)
    by_probe = predict(plant, SOUND_PRESETS._replace(receiver_full_fitted=True, fill_ms=26_000))
    assert by_probe.conveying.solids_kg_s == pytest.approx(0.45)
    filled_ms = 0.97 * 14.0 * 0.55 / 0.45 * 1e3 + 330.0
    assert by_probe.steps.convey_ms == pytest.approx(filled_ms + 1e3 * by_probe.conveying.transit_s)
    assert by_probe.batch_kg == pytest.approx(0.45 * by_probe.steps.convey_ms / 1e3)
    judged = named(found({}, {"receiver_full_fitted": True, "fill_ms": 17_000}), "convey.fill_s")
    assert judged.computed == pytest.approx(1.5 * 14.0 * 0.55 / 0.45)


def test_a_hanging_flap_ends_the_drain_itself_and_must_be_pulled_in() -> None:
    hangs = {"flap_kind": 2, "flap_feedback": 1}
    steps = predict(SOUND_PLANT._replace(flap_kind=2.0), SOUND_PRESETS._replace(**hangs)).steps
    assert steps.open_ms == 0.0
    assert steps.drain_ms < SOUND_PRESETS.drain_ms
    pulled = named(found({"flap_kind": 2.0}, hangs), "flap.flap_pull_in_ms")
    assert pulled.verdict == "ok"
    slow = {"flap_kind": 2.0, "flap_travel_s": 0.8}
    assert named(found(slow, hangs), "flap.flap_pull_in_ms").verdict == "error"


def test_with_the_closed_switch_alone_a_reopening_must_last_the_travel_time_and_a_pulse() -> None:
    """2,500 ms, a scan, a pulse of 120 ms; that it then pulses, and else does not, is seen on the bench."""
    judged = named(found({}, {"flap_feedback": 1}), "flap.flap_reopen_ms")
    assert (judged.verdict, judged.figure, judged.low, judged.computed) == ("warning", 1_500, 2_630, 2_630)
    assert "set flap.flap_reopen_ms to 2630 ms, or fit the open switch" in judged.change
    enough = found({}, {"flap_feedback": 1, "flap_reopen_ms": 2_630})
    assert named(enough, "flap.flap_reopen_ms").verdict == "ok"
    slow = found({}, {"flap_feedback": 1, "flap_reopen_ms": 5_000, "flap_travel_ms": 5_000})
    assert named(slow, "flap.flap_reopen_ms").has_room is False
    for other in ({}, {"flap_feedback": 2}, {"flap_feedback": 1, "flap_retries_max": 0}):
        assert all(finding.what != "flap.flap_reopen_ms" for finding in found({}, other))


def test_fluidising_air_empties_faster() -> None:
    """A factor of 0.9 in place of 0.4 on the rate of free fall."""
    plain, fluidised = (
        predict(SOUND_PLANT._replace(material_tail_kg=0.0), SOUND_PRESETS._replace(fluidise_on_ms=ms)).drain_s
        for ms in (0, 500)
    )
    assert plain / fluidised == pytest.approx(0.9 / 0.4, rel=0.01)


def test_groups_are_pulsed_one_after_another() -> None:
    """Six shots of 120 + 500 ms and a second of settling, against two of them."""
    three = predict(SOUND_PLANT._replace(tank_groups=3.0), SOUND_PRESETS._replace(pulse_groups=3))
    assert three.steps.clean_ms == pytest.approx(6 * 620.0 + 1_000.0)
    one = predict(SOUND_PLANT, SOUND_PRESETS)
    assert one.steps.clean_ms == pytest.approx(2 * 620.0 + 1_000.0)
    assert three.header_pulse_pa_g > one.header_pulse_pa_g


def test_cleaning_with_the_drain_saves_its_time() -> None:
    after, beside = (predict(SOUND_PLANT, SOUND_PRESETS._replace(clean_mode=mode)).steps for mode in (0, 1))
    assert after.cycle_ms - beside.cycle_ms == pytest.approx(2 * 620.0)


def test_a_line_without_purge_valve_may_not_plug_long() -> None:
    """2.6 bores hang in the riser of the medium line; a steep one lets more fall, and only a purge moves it."""
    steep = {"line_length_m": 20.0, "line_lift_m": 14.0}
    plug = "plug after a stop, in bores"
    no_purge = ALL - {"purge_cmd"}
    assert named(found({}, {}, no_purge), plug).verdict == "ok"
    assert named(found(steep, {}, no_purge), plug).verdict == "warning"
    assert named(found(steep, {}), plug).verdict == "ok"


def test_a_limit_of_unseen_batches_that_a_sound_vessel_passes_is_warned_of() -> None:
    assert not any("not_seen" in item.what for item in found({}, {}))
    low = named(found({}, {"not_seen_batches": 2}), "level.not_seen_batches")
    assert low.verdict == "warning"
    assert low.computed is not None
    assert (
        named(found({}, {"not_seen_batches": round(low.computed)}), "level.not_seen_batches").verdict == "ok"
    )


# ---- remarks --------------------------------------------------------------------------------------------

REMARKED: list[tuple[str, dict[str, Any]]] = [
    ("flap.flap_valve: two_coils", {"flap_valve": 1}),
    ("flap.flap_kind: vacuum_held", {"flap_kind": 2}),
    ("source.run_feedback_fitted: false", {"source_kind": 1}),
    ("source.overload_fitted: false", {"source_kind": 1}),
    ("filter_clean.clean_mode: offline", {"clean_mode": 2}),
    ("supply_air.supply_by: switch", {"supply_by": 1}),
    ("proving.vacuum_by: none", {"vacuum_by": 2}),
    ("start.warning_ms: 0", {"warning_ms": 0}),
    ("start.remote_start_allowed: true", {"remote_start_allowed": True}),
]


@pytest.mark.parametrize(("said", "presets"), REMARKED)
def test_a_choice_that_deserves_a_word_gets_it(said, presets) -> None:
    assert said not in words_of({}, {})
    assert said in words_of({}, presets)
    (item,) = (item for item in found({}, presets) if item.what == said)
    assert (item.verdict, item.figure) == ("warning", None)
    assert item.change


def test_every_remark_was_seen() -> None:
    cases = [Presets()._replace(**presets) for _, presets in REMARKED]
    unseen = [r.preset for r in findings_options.REMARKS if not any(r.when(case) for case in cases)]
    assert unseen == []


@pytest.mark.parametrize(
    ("plant", "presets", "without", "said"),
    [
        ({"flap_kind": 1.0}, {}, "", "flap.flap_kind"),
        ({}, {"flap_valve": 1}, "", "flap.flap_valve"),
        ({"source_kind": 2.0}, {}, "", "source.source_kind"),
        ({"source_bypass": 1.0}, {}, "", "source.bypass_fitted"),
        ({}, {"pulse_groups": 2}, "", "filter_clean.pulse_groups"),
        ({"transmitter_vacuum_side": 1.0}, {}, "", "proving.vacuum_side"),
        ({}, {}, "vent_close_cmd", "outputs.vent_close_cmd"),
        ({"purge_fitted": 0.0}, {}, "", "outputs.purge_cmd"),
    ],
)
def test_a_plant_that_is_another_machine_is_an_error(plant, presets, without, said) -> None:
    """What is simulated must be what is set, or a run shows nothing of the station."""
    verdicts = {item.what: item.verdict for item in found(plant, presets, ALL - {without})}
    assert verdicts[said] == "error"
    assert said not in {item.what for item in found({}, {}) if item.verdict == "error"}


def test_every_option_of_a_station_is_decided_by_a_preset_that_the_check_knows() -> None:
    assert {*findings_options.SAME} <= {*Presets._fields}
    assert {preset for preset, _ in WIRED_WHEN.values()} <= {*Presets._fields}
    assert judge(MEDIUM, Presets(), ALL)[1]
