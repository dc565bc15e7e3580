# ruff: noqa: N805, `s` is the scan
"""A small receiver in every word of the language, for the tests of the reader and of the engines."""

import random
from enum import IntEnum
from typing import NamedTuple

from controller.sequence.definition import (
    DAY_MS,
    Definition,
    Interlock,
    Output,
    Refusal,
    Row,
    Scan,
    fact,
    memory,
    on_delay,
    percent,
)


class Step(IntEnum):
    REST = 0
    SEAL = 1
    REOPEN = 2
    DRAW = 3
    VENT = 4
    DROP = 5
    HELD = 6
    FAULT = 7


REST, SEAL, REOPEN, DRAW, VENT, DROP, HELD, FAULT = Step
SUCTION, EMPTYING = (SEAL, REOPEN, DRAW), (VENT, DROP)
RUNNING = (*SUCTION, *EMPTYING, HELD)
ALWAYS = tuple(Step)
STATES = {"IDLE": (REST,), "SUCTION": SUCTION, "EMPTYING": EMPTYING, "HOLD": (HELD,), "FAULT": (FAULT,)}
ZERO_UA = 4_000


class Inputs(NamedTuple):
    start_pb: bool = False
    stop_healthy: bool = True
    reset_pb: bool = False
    chain_healthy: bool = True
    flap_closed_fb: bool = True
    flap_open_fb: bool = False
    level_free: bool = True
    vacuum_ua: int = 4_000
    supply_air_pa_g: int = 600_000
    dust_seen: bool = False
    knock_pb: bool = False


class Presets(NamedTuple):
    flap_travel_ms: int = 1_500
    flap_retries_max: int = 1
    flap_lost_ms: int = 50
    level_on_ms: int = 200
    fill_ms: int = 12_000
    release_limit_ms: int = 10_000
    drain_ms: int = 4_000
    released_pa: int = 1_500
    supply_low_pa_g: int = 400_000
    supply_band_pa: int = 30_000
    supply_low_ms: int = 300
    supply_low_effect: int = 0
    vacuum_pa_per_100ua: int = 625
    step_bound_percent: int = 150
    dust_trap_ms: int = 300
    knock_ms_max: int = 300
    knock_in_drop: bool = True


LIMITS = {
    "flap_travel_ms": (500, 10_000),
    "flap_retries_max": (0, 3),
    "flap_lost_ms": (0, 300),
    "level_on_ms": (0, 10_000),
    "fill_ms": (1_500, 600_000),
    "release_limit_ms": (1_000, 120_000),
    "drain_ms": (500, 120_000),
    "released_pa": (300, 3_000),
    "supply_low_pa_g": (300_000, 700_000),
    "supply_band_pa": (10_000, 100_000),
    "supply_low_ms": (100, 5_000),
    "supply_low_effect": (0, 1),
    "vacuum_pa_per_100ua": (100, 625),
    "step_bound_percent": (120, 300),
    "dust_trap_ms": (0, 10_000),
    "knock_ms_max": (0, 10_000),
    "knock_in_drop": (0, 1),
}


class Outputs(NamedTuple):
    source_cmd: bool = False
    flap_open_cmd: bool = False
    vent_close_cmd: bool = False
    dust_trap_cmd: bool = False
    knock_cmd: bool = False
    fault_lamp: bool = False


class Signals(Scan[Inputs, Presets]):
    """What the inputs mean. Some words are only declared here; their rules stand below or in a table."""

    step = fact[int]()
    trip = fact[bool]()
    hold = fact[bool]()
    wait = fact[bool]()
    run = fact[bool]()
    in_step_ms = fact[int]()
    first_out = fact[int]()

    @memory(first=True)
    def start_held(s) -> bool:
        """Start as last seen. True at power-up: a button held through it starts nothing."""
        return s.now.start_pb

    @memory(first=0)
    def vacuum_sum_pa(s) -> int:
        """Twenty times the sliding mean of the body vacuum."""
        return max(s.was.vacuum_sum_pa - s.was.vacuum_sum_pa // 20 + s.vacuum_pa, 0)

    @memory(first=False)
    def supply_under_limit(s) -> bool:
        """Supply air under its limit; once low, low until it is a band above it."""
        return s.now.supply_air_pa_g < (
            s.set.supply_low_pa_g + (s.set.supply_band_pa if s.was.supply_under_limit else 0)
        )

    @on_delay("level_on_ms")
    def level_covered(s) -> bool:
        """The probe has been covered for its delay."""
        return not s.now.level_free

    vacuum_pa = fact(lambda s: percent(s.now.vacuum_ua - ZERO_UA, s.set.vacuum_pa_per_100ua))
    vacuum_mean_pa = fact(lambda s: s.vacuum_sum_pa // 20)
    under_vacuum = fact(lambda s: max(s.vacuum_pa, s.vacuum_mean_pa, 0) >= s.set.released_pa)
    released = fact(lambda s: not s.under_vacuum)
    flap_proven = fact(lambda s: s.now.flap_closed_fb and not s.now.flap_open_fb)
    flap_unproven = fact(lambda s: not s.flap_proven)
    flap_both = fact(lambda s: s.now.flap_closed_fb == s.now.flap_open_fb and s.now.flap_open_fb)
    chain_open = fact(lambda s: not s.now.chain_healthy)
    backwards = fact(lambda s: s.now.vacuum_ua - ZERO_UA < -1_000)


class Counters(Signals):
    """Memory."""

    @memory(first=False)
    def run(s) -> bool:
        """The run latch: taken by a fresh start when ready, lost by stop and by any trip."""
        return (s.was.run or (s.start_edge and s.ready)) and not (s.stopped or s.trip)

    @memory(first=0)
    def flap_retries(s) -> int:
        """Re-openings in this batch, to clear product off the seat."""
        return (
            s.was.flap_retries + (1 if s.step == REOPEN and s.was.step == SEAL else 0)
            if s.step in (SEAL, REOPEN)
            else 0
        )

    @memory(first=0)
    def step_ms(s) -> int:
        """Time in the step, 0 in the scan that enters it."""
        return s.in_step_ms if s.step == s.was.step else 0

    @memory(first=0, kept=True)
    def on_board(s) -> int:
        """Product in the body: 0 no, 1 yes. Through power loss."""
        return 1 if s.step == DRAW else (0 if s.was.step == DROP and s.step != DROP else s.was.on_board)

    @memory(first=False, kept=True)
    def fault_stored(s) -> bool:
        """A fault stands, and stands through power loss."""
        return s.step == FAULT

    # the timers of IEC 61131-3 that are not an on-delay

    @memory(first=False)
    def dust_trap(s) -> bool:
        """TOF: dust is seen, or was not so long ago."""
        return s.now.dust_seen or (s.was.dust_trap and not s.dust_gone)

    dust_gone = on_delay(lambda s: not s.now.dust_seen, by="dust_trap_ms")

    @memory(first=False)
    def knock(s) -> bool:
        """TP: on from the rising edge for its time, whatever the button does; no second one inside it."""
        return s.knock_starts or (s.was.knock and s.knock_lasts)

    @memory(first=0)
    def knock_ms(s) -> int:
        """TP: since the rising edge."""
        return 0 if s.knock_starts else min(s.was.knock_ms + s.dt_ms, DAY_MS)

    @memory(first=False)
    def knock_held(s) -> bool:
        """The button as last seen."""
        return s.now.knock_pb

    knock_lasts = fact(lambda s: s.was.knock_ms + s.dt_ms < s.set.knock_ms_max)
    knock_starts = fact(lambda s: s.now.knock_pb and not s.was.knock_held and not s.was.knock)


class Facts(Counters):
    """What the rows ask."""

    in_step_ms = fact(lambda s: min(s.was.step_ms + s.dt_ms, DAY_MS))
    start_edge = fact(lambda s: s.now.start_pb and not s.was.start_held)
    stopped = fact(lambda s: not s.now.stop_healthy)
    ready = fact(
        lambda s: s.was.step == REST and not (s.supply_under_limit or s.was.fault_stored or s.chain_open)
    )
    fault_at_power_up = fact(lambda s: s.was.fault_stored)
    travel_over = fact(lambda s: s.in_step_ms >= s.set.flap_travel_ms)
    stays_shut = fact(lambda s: s.travel_over and (s.now.flap_closed_fb or not s.now.flap_open_fb))
    retry_left = fact(lambda s: s.was.flap_retries < s.set.flap_retries_max)
    seat_not_clear = fact(lambda s: s.flap_unproven and s.travel_over and not s.retry_left)
    filled = fact(lambda s: s.in_step_ms >= s.set.fill_ms)
    bound_ms = fact(
        lambda s: percent(s.set.release_limit_ms + s.set.flap_travel_ms, s.set.step_bound_percent)
    )
    too_long = fact(lambda s: s.was.step in EMPTYING)
    drained = fact(lambda s: s.in_step_ms >= s.set.drain_ms)
    drained_and_held = fact(lambda s: s.drained and s.hold and s.run)
    next_batch = fact(lambda s: s.drained and s.run)
    air_gone = fact(lambda s: s.wait and s.was.step in SUCTION)
    may_go_on = fact(lambda s: s.run and not s.hold and not s.supply_under_limit)
    run_lost = fact(lambda s: not s.run)
    reset_accepted = fact(
        lambda s: s.now.reset_pb and s.released and not s.supply_under_limit and not s.chain_open
    )
    no_reset_yet = fact(lambda s: s.was.step == FAULT and (s.under_vacuum or s.supply_under_limit))
    not_resting = fact(lambda s: s.was.step not in (REST,))
    knocking = fact(lambda s: s.knock and s.set.knock_in_drop)


INTERLOCKS = (
    #         name                   cause                     looked at in  delayed by          effect
    Interlock("CHAIN_OPEN",          Facts.chain_open,         RUNNING,      None,               "trip"),
    Interlock("CHAIN_OPEN",          Facts.chain_open,         (REST,),      None,               "warn"),
    Interlock("SUPPLY_AIR_LOW",      Facts.supply_under_limit, SUCTION, "supply_low_ms",
              "supply_low_effect", ("trip", "wait")),
    Interlock("SUPPLY_AIR_LOW",      Facts.supply_under_limit, EMPTYING,     "supply_low_ms",    "warn"),
    Interlock("FLAP_NOT_CLOSED",     Facts.seat_not_clear,     (SEAL,),      None,               "trip"),
    Interlock("FLAP_LOST_CLOSED",    Facts.flap_unproven,      (DRAW,),      "flap_lost_ms",     "trip"),
    Interlock("FLAP_DISAGREES",      Facts.flap_both,          ALWAYS,       "flap_lost_ms",     "warn"),
    Interlock("VACUUM_NOT_RELEASED", Facts.under_vacuum,       (VENT,),      "release_limit_ms", "trip"),
    Interlock("FLAP_NOT_OPEN",       Facts.stays_shut,         (DROP,),      None,               "trip"),
    Interlock("STEP_TOO_LONG",       Facts.too_long,           EMPTYING,     "s.bound_ms",       "end_batch"),
    Interlock("LEVEL_HIGH",          Facts.level_covered,      (DROP, HELD), None,               "hold"),
)  # fmt: skip

ROWS = (
    Row((REST,),       Facts.fault_at_power_up, FAULT),
    Row(RUNNING,       Facts.trip,              FAULT),
    Row((FAULT,),      Facts.reset_accepted,    REST),
    Row((REST,),       Facts.run,               SEAL),
    Row(SUCTION,       Facts.air_gone,          HELD),
    Row((SEAL, DRAW),  Facts.run_lost,          VENT),
    Row((SEAL,),       Facts.flap_proven,       DRAW),
    Row((SEAL,),       Facts.travel_over,       REOPEN),
    Row((REOPEN,),     Facts.travel_over,       SEAL),
    Row((DRAW,),       Facts.filled,            VENT),
    Row((VENT,),       Facts.released,          DROP),
    Row((DROP,),       Facts.drained_and_held,  HELD),
    Row((DROP,),       Facts.next_batch,        SEAL),
    Row((DROP,),       Facts.drained,           REST),
    Row((HELD,),       Facts.run_lost,          REST),
    Row((HELD,),       Facts.may_go_on,         SEAL),
)  # fmt: skip

OUTPUTS = (
    Output("source_cmd",     (DRAW,),      unless=Facts.flap_unproven),
    Output("flap_open_cmd",  (REOPEN,),    unless=Facts.under_vacuum),
    Output("flap_open_cmd",  (DROP,),      unless=Facts.under_vacuum, remembered=True),
    Output("vent_close_cmd", (SEAL, DRAW)),
    Output("dust_trap_cmd",  ALWAYS,       when=Facts.dust_trap),
    Output("knock_cmd",      (DROP,),      when=Facts.knocking),
    Output("fault_lamp",     (FAULT,)),
    Output("fault_lamp",     ALWAYS,       when=Facts.chain_open),
)  # fmt: skip

REFUSALS = (
    Refusal("start", Facts.supply_under_limit, "supply air is low"),
    Refusal("start", Facts.not_resting, "the receiver is not at rest"),
    Refusal("reset", Facts.no_reset_yet, "vacuum or low air still stands"),
)

MINIATURE = Definition(
    step=Step,
    states=STATES,
    fault=FAULT,
    inputs=Inputs,
    outputs=Outputs,
    presets=Presets,
    limits=LIMITS,
    facts=Facts,
    interlocks=INTERLOCKS,
    rows=ROWS,
    output_lines=OUTPUTS,
    refusals=REFUSALS,
    ranges={"vacuum_ua": (0, 24_000), "supply_air_pa_g": (0, 1_000_000)},
)


def next_inputs(inputs: Inputs, outputs: Outputs, rnd: random.Random) -> Inputs:
    """Inputs that follow the outputs most of the time, and misbehave some of it."""
    if rnd.random() < 0.04:  # something odd, until something else happens to the same point
        name = rnd.choice(Inputs._fields)
        odd = {
            "vacuum_ua": (0, 4_239, 4_240, 4_300, 12_000),
            "supply_air_pa_g": (0, 399_999, 400_000, 429_999, 430_000),
        }
        return inputs._replace(**{name: rnd.choice(odd.get(name, (False, True)))})
    if rnd.random() < 0.3:
        return inputs._replace(start_pb=not inputs.start_pb)
    if rnd.random() < 0.15:
        return Inputs(
            start_pb=inputs.start_pb,
            reset_pb=rnd.random() < 0.5,
            flap_closed_fb=not outputs.flap_open_cmd,
            flap_open_fb=outputs.flap_open_cmd,
            level_free=inputs.level_free,
            vacuum_ua=8_000 if outputs.source_cmd else 4_000,
            dust_seen=inputs.dust_seen,
            knock_pb=rnd.random() < 0.5,
        )
    return inputs


QUICK = Presets(
    flap_travel_ms=500, fill_ms=1_500, drain_ms=500, release_limit_ms=4_000, supply_low_ms=100, level_on_ms=50
)
"""Presets under which much happens in few scans."""
