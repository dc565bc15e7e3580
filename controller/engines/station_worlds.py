"""
The abstract world of a station: machine, surroundings and people, in steps of one scan.

It knows what a search for dead ends needs and no physics: a lump on the seat, a plugged line, product in
body and vessel, supply air, a motor that does not start or runs on, a flap without command that sticks or
hangs, a filter that blinds. What a kind of station does not have never moves there.
"""

from collections.abc import Iterator
from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.sequence.steps import (
    FEEDBACK_OPEN,
    HOLD_BATCH,
    MOTOR_KIND,
    TWO_COIL_VALVE,
    VACUUM_HELD,
)

DT_MS = 1_000
COVERED_MAX = 4  # scans: over every delay of the level
PROBE = 3  # scans of filling up to the probe of the receiver
SUPPLY_UA = (4_000, 10_000, 13_600)  # lost; under the low limit; good
DP_UA = (5_000, 9_000, 13_000)
DRIVES = ("source_cmd", "bypass_close_cmd", "flap_open_cmd", "flap_close_cmd", "pulse_1_cmd", "pulse_2_cmd",
          "pulse_3_cmd", "purge_cmd")  # fmt: skip
"""The outputs that the world obeys."""


class World(NamedTuple):
    """What the machine and its surroundings look like between two scans."""

    air: int = 2  # 2 good, 1 under the low limit, 0 lost
    flap: int = 0  # 0 closed, 1 between, 2 open
    vacuum_kpa: int = 0
    body: int = 0  # product in the body: 0 none, 1 some, 3 up to the probe
    covered: int = 0  # scans that the probe of the vessel has been covered
    poured: int = 0  # batches that fell on a covered probe
    through: int = 0  # scans in a row in which the source acted through a flap that is not closed
    running: bool = False  # motor, or ejector with air
    delivered: bool = False  # a batch fell in this scan
    lump: bool = False  # product between flap and seat
    plug: bool = False  # the line is blocked
    material: bool = True  # there is product at the feed point
    low: bool = True  # the low probe is uncovered
    column: bool = False  # the vessel is backed up into the flap
    bridged: int = 0  # product in the body that does not fall: 1 a part of it, 2 all
    stuck: bool = False  # a flap without command sticks shut
    ajar: bool = False  # a hanging flap that rests off its seat
    valve_open: bool = False  # where a valve with two coils stands
    dead: bool = False  # the motor does not start, or has stopped by itself
    welded: bool = False  # its contactor stays in
    overload: bool = False
    wanted: bool = True  # the process below wants product
    feed: bool = True  # the feed hopper is not low
    remote: bool = False  # selector local/remote
    chain: bool = True  # safety chain healthy
    link: bool = True  # remote I/O answers
    blinded: int = 0  # the filter: 1 needs a clean, 2 new elements


class Physics:
    """How the world follows the outputs, what the instruments say, and what must not be."""

    def __init__(self, presets: Presets) -> None:
        p = self.presets = presets
        self.motor = p.source_kind == MOTOR_KIND
        self.bypassed = self.motor and p.bypass_fitted
        self.swings = p.flap_kind > 0
        self.held = p.flap_kind == VACUUM_HELD
        self.two_coils = p.flap_valve == TWO_COIL_VALVE and not self.swings
        self.body_max = PROBE if p.receiver_full_fitted or self.swings else 1
        blind = p.flap_feedback == FEEDBACK_OPEN and not self.swings
        scans = max(p.flap_pull_in_ms if self.held else 0, p.proving_ms if blind else 0) // DT_MS
        self.through_max = scans + 1 if self.held or blind else 1 if self.swings else 0

    def wires(self, w: World) -> dict[str, int]:
        """The field points."""
        return {
            "level_free": w.covered == 0,
            "level_low_covered": not w.low,
            "receiver_free": w.body < PROBE,
            "flap_closed_fb": w.flap == 0,
            "flap_open_fb": w.flap == 2,
            "vacuum_ua": 4_000 + w.vacuum_kpa * 160,
            "vacuum_switch": w.vacuum_kpa > 1,
            "supply_air_ua": SUPPLY_UA[w.air],
            "supply_air_ok": w.air == 2,
            "filter_dp_ua": DP_UA[w.blinded] if w.vacuum_kpa else 4_000,
            "source_running_fb": w.running,
            "overload_healthy": not w.overload,
            "plant_enable": w.wanted,
            "feed_present": w.feed,
            "remote_selected": w.remote,
            "safety_chain_healthy": w.chain,
            "image_age_ms": 0 if w.link else 1_000,
        }

    def after(self, w: World, out: tuple[int, ...]) -> World:
        """The world one scan later."""
        source, bypass, opens, closes, *pulses, purge = out
        works = not (w.dead or w.overload) if self.motor else w.air > 0
        running = (works and bool(source)) or w.welded
        acts = running and bool(bypass or not self.bypassed)
        commanded = bool(source and (bypass or not self.bypassed))
        valve_open = bool(opens or (w.valve_open and not closes)) if self.two_coils else False
        flap = self._flap(w, acts, valve_open if self.two_coils else bool(opens))
        left = (0, min(w.body, 1), w.body)[w.bridged]
        falls = flap == 2 == w.flap and w.body > left and not w.column
        drawn = acts and w.flap == 0 == flap
        arriving = drawn and not w.plug and w.material and not purge
        body = min(w.body + 1, self.body_max) if arriving else max(w.body, 1 if drawn and purge else 0)
        return w._replace(
            flap=flap,
            vacuum_kpa=(60 if w.plug else 13 if arriving else 4) if drawn else 0,
            body=left if falls else body,
            covered=min(w.covered + 1, COVERED_MAX) if w.covered else 0,
            poured=min(w.poured + 1, 2) if falls and w.covered else w.poured if w.covered else 0,
            through=min(w.through + 1, 9) if commanded and running and w.flap else 0,
            running=running,
            delivered=falls,
            lump=w.lump and not (flap == 2 and not self.swings),
            valve_open=valve_open,
            blinded=0 if w.blinded == 1 and any(pulses) else w.blinded,
        )

    def _flap(self, w: World, acts: bool, opens: bool) -> int:
        in_the_way = w.lump or w.column
        if not self.swings:
            if (opens or self.two_coils) and w.air == 0:
                return w.flap
            return 2 if opens else 1 if in_the_way and w.flap else 0
        if acts and w.flap == 0:
            return 0
        if acts and self.held and not in_the_way:
            return 0
        if w.body > 0 and not (w.stuck and w.flap == 0) and w.bridged < 2:
            return 2
        return 1 if (in_the_way and w.flap) or w.ajar else 0

    def wrong(self, w: World, after: World, newly_open: bool, fresh: bool) -> str:
        """What must not be: `w` before the scan, `after` it; `fresh`: a new batch is begun in it."""
        little = 2 if self.swings else 1 if w.bridged == 1 else 0  # a flap that swings may stay shut on it
        if fresh and w.body > little:
            return "a batch is drawn on top of another"
        if newly_open and w.running and not self.bypassed:
            return "the flap is opened against a running source"
        if after.through > self.through_max:
            return "the source draws through a flap that is not closed"
        if after.poured > 1:
            return "a second batch falls on a covered probe"
        if self.presets.level_policy == HOLD_BATCH and newly_open and w.covered == COVERED_MAX:
            return "the flap is opened over a full vessel"
        return ""


# ---- what may happen ---------------------------------------------------------------------------------
def happenings(w: World, extra: tuple[str, ...]) -> Iterator[tuple[str, World]]:
    """Everything that may happen to the world before the next scan: the common ones and the `extra` ones."""
    r = w._replace
    yield ("air goes" if w.air else "air comes"), r(air=w.air - 1 if w.air else 2)
    yield (
        ("vessel empties", r(covered=0, column=False))
        if w.covered
        else ("vessel fills", r(covered=1, low=False))
    )
    yield ("product runs out" if w.material else "product comes"), r(material=not w.material)
    if not w.plug:
        yield "line plugs", r(plug=True)
    if w.flap and not w.lump:
        yield "lump on the seat", r(lump=True)
    for what in extra:
        if (after := _extra(w, what)) is not None and after != w:
            yield what, after


def _extra(w: World, what: str) -> World | None:
    r = w._replace
    match what:
        case "vessel runs low":
            return r(low=True) if not w.covered else None
        case "vessel backs up":
            return r(column=True) if w.covered and w.flap == 2 else None
        case "product bridges":
            return r(bridged=2) if w.body == PROBE else None
        case "a part stays":
            return r(bridged=1) if w.body == PROBE else None
        case "flap sticks":
            return r(stuck=True) if w.flap == 0 else None
        case "flap rests ajar":
            return r(ajar=True)
        case "motor fails":
            return r(dead=True, welded=False)
        case "contactor welds":
            return r(welded=True) if w.running and not w.dead else None
        case "overload":
            return r(overload=True, welded=False) if w.running else None
        case "not wanted":
            return r(wanted=not w.wanted)
        case "feed low":
            return r(feed=not w.feed)
        case "key turned":
            return r(remote=not w.remote)
        case "safety chain opens":
            return r(chain=not w.chain)
        case "link breaks":
            return r(link=not w.link)
        case "filter blinds":
            return r(blinded=min(w.blinded + 1, 2))
    raise AssertionError(what)


def healed(w: World, noticed: bool) -> World:
    """The surroundings are well again; `noticed`: people see that no product comes, and clear the line."""
    return w._replace(
        air=2, covered=0, low=True, column=False, material=True, wanted=True, feed=True, overload=False,
        chain=True, link=True, poured=0, plug=w.plug and not noticed,
    )  # fmt: skip


def looked_at(w: World) -> World:
    """After a trip somebody looks: line, seat, body, motor, filter are put right."""
    return w._replace(
        plug=False, lump=False, bridged=0, stuck=False, dead=False, welded=False, blinded=0, ajar=False
    )
