"""
A test of a safeguard counts once it was seen red: here each is run on a table with that safeguard broken.

A mistake is planted in a copy of the definition; the scenario of the same subject must then fail, and fail
by an assertion of its own.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from bench import BENCHES, Bench, Works
from scenarios import test_fault as fault
from scenarios import test_flap as flap
from scenarios import test_level as level
from scenarios import test_start as start
from scenarios import test_stop_and_halt as stop_and_halt
from scenarios import test_supply as supply
from scenarios import test_vacuum as vacuum
from scenarios import test_vacuum_signal as vacuum_signal

from controller.sequence.definition import Definition, Output, Scan, fact, memory
from controller.sequence.last_word import Facts
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    REST,
    Step,
)

MISSING_KPA = "vacuum over the release threshold"


def only_warned_of(name: str, cause: str = "") -> Definition:
    """The lines of this name, or only the one with this cause, warn and do nothing."""
    lines = tuple(
        i._replace(effect="warn", allowed=()) if i.name == name and cause in ("", i.cause.name) else i
        for i in RECEIVER.interlocks
    )
    return replace(RECEIVER, interlocks=lines)


def without_last_word(output: str, definition: Definition = RECEIVER) -> Definition:
    lines = tuple(o._replace(unless=None) if o.name == output else o for o in definition.output_lines)
    return replace(definition, output_lines=lines)


def without_row(guard: str, step: Step | None = None) -> Definition:
    """No row with this guard, or only not from this step."""
    rows = [
        r if r.guard.name != guard else r._replace(steps=tuple(k for k in r.steps if step not in (None, k)))
        for r in RECEIVER.rows
    ]
    return replace(RECEIVER, rows=tuple(r for r in rows if r.steps))


def without_refusal(command: str, fact_name: str) -> Definition:
    kept = tuple(r for r in RECEIVER.refusals if (r.command, r.fact.name) != (command, fact_name))
    return replace(RECEIVER, refusals=kept)


def with_facts(facts: type[Scan[Any, Any]]) -> Definition:
    return replace(RECEIVER, facts=facts)


class LevelUnsettled(Facts):
    sealed = fact(lambda s: s.flap_proven and s.in_step_ms >= s.set.tank_charge_ms and not s.vessel_full)


class NeverFrozen(Facts):
    @memory(first=False)
    def vacuum_frozen(s) -> bool:  # noqa: N805
        return s.was.vacuum_frozen and False


class LatchThatTheStopWireLeaves(Facts):
    @memory(first=False)
    def run(s) -> bool:  # noqa: N805
        return (s.was.run or s.start_accepted) and not (
            s.now.stop_request or s.halt or s.warn_cancelled or s.trip
        )


class NoDebounce(Facts):
    @memory(first=False)
    def flap_closed(s) -> bool:  # noqa: N805
        return s.now.flap_closed_fb

    flap_lost = fact(lambda s: s.flap_unproven)


def frozen_flap_lost() -> Definition:
    lines = tuple(o for o in RECEIVER.output_lines if not (o.name == "flap_open_cmd" and REST in o.steps))
    return replace(RECEIVER, output_lines=lines)


def source_through_rest() -> Definition:
    line = Output("source_cmd", (REST,), Facts.halted)
    return replace(RECEIVER, output_lines=(*RECEIVER.output_lines, line))


Story = Callable[..., None]

MISTAKES: dict[str, tuple[Callable[[], Definition], Story, dict[str, Any]]] = {
    "source without last word and without its trip": (
        lambda: without_last_word("source_cmd", only_warned_of("FLAP_LOST_CLOSED")),
        flap.test_closed_lost_while_the_source_acts_trips_after_its_delay, {"step": CONVEY}),
    "FLAP_LOST_CLOSED only warned of": (
        lambda: only_warned_of("FLAP_LOST_CLOSED"),
        flap.test_closed_lost_while_the_source_acts_trips_after_its_delay, {"step": DRAW}),
    "flap-open without last word": (
        lambda: without_last_word("flap_open_cmd"),
        flap.test_the_flap_is_not_first_opened_over_the_release_threshold, {}),
    "pulse without last word": (
        lambda: without_last_word("pulse_1_cmd"),
        flap.test_pulses_stop_in_the_scan_that_loses_open_before_the_trip, {}),
    "FLAP_LOST_OPEN only warned of": (
        lambda: only_warned_of("FLAP_LOST_OPEN"),
        flap.test_open_lost_in_drain_and_clean_trips_after_its_delay, {"step": DRAIN}),
    "FLAP_MOVED only warned of": (
        lambda: only_warned_of("FLAP_MOVED"),
        flap.test_a_flap_that_leaves_its_place_without_command_trips_at_rest_and_in_a_hold,
        {"step": REST}),
    "FLAP_NOT_OPEN only warned of": (
        lambda: only_warned_of("FLAP_NOT_OPEN"),
        flap.test_a_flap_that_does_not_open_is_tried_once_more_from_vent_then_trips, {}),
    "closed switch without debounce, flap lost at once": (
        lambda: replace(with_facts(NoDebounce), interlocks=tuple(
            i._replace(delay=None) if i.name == "FLAP_LOST_CLOSED" else i for i in RECEIVER.interlocks)),
        flap.test_a_closed_switch_that_flickers_shorter_than_its_delay_does_not_trip, {"step": CLEAR}),
    "VACUUM_NOT_RELEASED only warned of": (
        lambda: only_warned_of("VACUUM_NOT_RELEASED"),
        vacuum.test_vacuum_not_released_trips_keeps_the_vent_open_and_refuses_reset, {}),
    "reset not refused over the release threshold": (
        lambda: without_refusal("reset", "vacuum_over_release"),
        vacuum.test_vacuum_not_released_trips_keeps_the_vent_open_and_refuses_reset, {}),
    "NO_VACUUM not looked at once proved": (
        lambda: only_warned_of("NO_VACUUM", "vacuum_gone"),
        vacuum.test_vacuum_gone_after_it_was_proved_trips_and_is_not_taken_for_starvation,
        {"step": CONVEY}),
    "a frozen reading believed": (
        lambda: with_facts(NeverFrozen),
        vacuum_signal.test_a_frozen_reading_is_bad_and_vent_waits_the_full_limit_then_opens, {}),
    "LINE_BLOCKED in clear only warned of": (
        lambda: only_warned_of("LINE_BLOCKED", "clear_blocked"),
        vacuum.test_a_line_that_does_not_clear_after_high_vacuum_is_blocked, {"clear_ms": 3_500}),
    "level not settled in seal": (
        lambda: with_facts(LevelUnsettled),
        level.test_seal_waits_until_the_level_is_settled, {}),
    "SAFETY_CHAIN_OPEN only warned of": (
        lambda: only_warned_of("SAFETY_CHAIN_OPEN", "safety_chain_open"),
        fault.test_an_open_safety_chain_trips_in_every_step_that_runs_in_the_same_scan,
        {"step": CONVEY}),
    "reset not refused with the safety chain open": (
        lambda: without_refusal("reset", "safety_chain_open"),
        fault.test_reset_is_refused_by_name_while_its_cause_stands,
        {"points": {"safety_chain_healthy": False}, "words": "safety chain"}),
    "fault not stored": (
        lambda: without_row("fault_at_power_up"),
        fault.test_a_fault_outlives_the_power_with_its_first_out, {}),
    "IO_LOST only warned of": (
        lambda: only_warned_of("IO_LOST"),
        fault.test_an_image_that_is_too_old_trips_everywhere_and_just_in_time_it_does_not,
        {"step": CONVEY}),
    "start without an edge": (
        lambda: without_refusal("start", "start_was_held"),
        start.test_a_start_button_held_through_power_up_starts_nothing, {}),
    "start not refused over the release threshold": (
        lambda: without_refusal("start", "not_near_zero"),
        start.test_each_permissive_refuses_by_itself_and_by_name,
        {"cause": MISSING_KPA, "command": "start"}),
    "latch not cleared by the stop contact": (
        lambda: with_facts(LatchThatTheStopWireLeaves),
        start.test_stop_clears_the_run_latch_at_once_and_letting_go_does_not_bring_it_back, {}),
    "halt not heard in convey": (
        lambda: without_row("halt", CONVEY),
        stop_and_halt.test_halt_in_every_step_stops_what_feeds_and_freezes_the_flap,
        {"step": CONVEY}),
    "halt leaves the source on": (
        source_through_rest,
        stop_and_halt.test_halt_while_drawing_remembers_batch_and_loaded_line, {"step": CONVEY}),
    "halt lets the flap fall": (
        frozen_flap_lost,
        stop_and_halt.test_halt_in_every_step_stops_what_feeds_and_freezes_the_flap, {"step": DRAIN}),
    "SUPPLY_AIR_LOST only warned of": (
        lambda: only_warned_of("SUPPLY_AIR_LOST"),
        supply.test_lost_air_trips_in_every_working_step_with_wait_too,
        {"step": CONVEY, "effect": 1}),
    "hunting allowed": (
        lambda: only_warned_of("SUPPLY_AIR_LOW", "hunting"),
        supply.test_two_resumes_in_a_row_are_allowed_the_third_low_air_trips, {}),
    "no limit of the wait in open": (
        lambda: only_warned_of("SUPPLY_AIR_LOW", "open_wait_over"),
        supply.test_wait_in_open_trips_after_the_air_wait_limit, {}),
}  # fmt: skip


class Planted:
    """Benches led up to a step by the right table, then moved to the one with the mistake."""

    def __init__(self, definition: Definition) -> None:
        self.works = Works(definition, in_a_hurry=True)

    def at(self, step: Step, **presets: int) -> Bench:
        return BENCHES.at(step).moved_to(self.works).preset(**presets)


@pytest.mark.parametrize("mistake", MISTAKES)
def test_the_scenario_goes_red_on_the_planted_mistake(mistake):
    """The scenario is green on the right table (its own test says so) and fails here."""
    definition, story, arguments = MISTAKES[mistake]
    planted = Planted(definition())
    with pytest.raises(AssertionError):
        story(planted.at, **arguments)


def test_the_scenarios_stay_green_on_a_copy_without_a_mistake():
    """Else they might be red for being moved to another table."""
    unspoilt = Planted(replace(RECEIVER))
    for _, story, arguments in MISTAKES.values():
        story(unspoilt.at, **arguments)


def test_without_its_trip_the_last_word_alone_keeps_the_source_off():
    """
    FLAP_LOST_CLOSED only warned of: the source still goes off with the same delayed fact, and the override
    that lasts trips as OUTPUT_OVERRIDDEN.
    """
    bench = Planted(only_warned_of("FLAP_LOST_CLOSED")).at(CONVEY)
    bench.run(1_000)
    bench.force(flap_closed_fb=False)
    bench.run(140)
    bench.run_until(FAULT, within_ms=500, never=lambda b: b.outputs.source_cmd)
    assert bench.first_out == "OUTPUT_OVERRIDDEN"
