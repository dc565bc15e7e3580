"""What the page of a run shows, as plain values: lanes by group, marks, verdicts with their windows."""

from collections.abc import Container, Iterable, Mapping
from typing import Any, NamedTuple

from controller.campaign.recording import Recording
from controller.campaign.results import Result
from controller.campaign.run_table import Table
from controller.campaign.runner import Outcome
from controller.campaign.scenario import Scenario
from controller.campaign.traces import analog, changes
from controller.campaign.windows import window_of
from controller.events import EVENTS
from controller.image import FIELD_INPUTS, JOG, Inputs, Outputs
from controller.points import Point
from controller.sequence.steps import STATES, Step
from io_sim.failures import CATALOGUE
from io_sim.formulas_air import site_pressure_pa

Document = dict[str, Any]
FINE_MS = 5_000
"""So long around each bad verdict every point of a trace stays, however long the run."""


class Gauge(NamedTuple):
    """A lane of readings: its lines by where they come from, and how they are shown."""

    label: str
    unit: str
    per_unit: int  # what one unit is in the whole numbers of the column
    decimals: int
    lines: tuple[tuple[str, str], ...]  # column, what it is


READ, PLANT = "as the sequence reads it", "in the simulated plant"
# fmt: off
GAUGES = (
    Gauge("body vacuum", "kPa", 1_000, 2, (("vacuum_pa", READ), ("plant_vacuum_pa", PLANT))),
    Gauge("supply air", "bar gauge", 100_000, 2, (("supply_pa_g", READ),)),
    Gauge("filter pressure drop", "kPa", 1_000, 2, (("dp_pa", READ),)),
    Gauge("mass in the receiver", "kg", 1_000, 2, (("plant_body_g", PLANT),)),
    Gauge("mass in the vessel below", "kg", 1_000, 1, (("plant_vessel_g", PLANT),)),
    Gauge("delivered since power-up", "kg", 1_000, 1, (("plant_delivered_g", PLANT),)),
)
# fmt: on
STATE_OF = [n for step in Step for n, steps in enumerate(STATES.values()) if step in steps]
"""The state of each step, by their numbers."""
WIRED_BY = {"vacuum_pa": "vacuum_ua", "supply_pa_g": "supply_air_ua", "dp_pa": "filter_dp_ua"}
"""The transmitter without which a reading of the sequence says nothing."""

POINT_OF = {
    "level_probe": "level_free", "low_level_probe": "level_low_covered",
    "receiver_full_probe": "receiver_free",
    "flap_closed_switch": "flap_closed_fb", "flap_open_switch": "flap_open_fb",
    "vacuum_switch": "vacuum_switch", "supply_switch": "supply_air_ok",
    "run_contact": "source_running_fb", "overload_contact": "overload_healthy",
    "motor_overload": "overload_healthy", "feed_switch": "feed_present", "feed_empty": "feed_present",
}  # fmt: skip
"""The point at which a failure mode shows, by how its name begins."""


def data_of(outcome: Outcome, result: Result) -> Document:
    """All that the page shows; times in ms since power-up, traces as `changes` gives them."""
    s, recording = outcome.scenario, outcome.recording
    assert recording is not None, "a broken run has no page"
    conditions = list({c.text: c for c in s.conditions()}.values())
    read = list(dict.fromkeys(r.name for c in conditions for r in c.reads if r.group in ("this", "now")))
    named = {*read, *_named(s)}
    names = [*read, "step", "first_out", *WIRED_BY]
    table = Table(recording, conditions, names)
    fine = [(v.at_ms - FINE_MS, v.at_ms + FINE_MS) for v in result.bad]
    scan_ms = recording.scan_ms
    scans = [(first // scan_ms, last // scan_ms) for first, last in fine]
    points = {p.name: p for p in s.station.points.points}
    return {
        **_head(s, result), "scan_ms": scan_ms, "end_ms": int(table.times[-1]) * scan_ms,
        "gaps": table.gaps,
        "states": list(STATES), "state_of": STATE_OF,
        "lanes": [
            *_sequence(table, recording),
            *_failures(result),
            *_interlocks(table, recording, named),
            *_gauges(table, s, scans),
            *_points(table, points, named),
            *_facts(table, recording, read, points),
        ],
        "marks": _marks(s, result), "verdicts": _verdicts(table, s, result),
        "untold": result.untold, "disagreements": list(result.disagreements),
    }  # fmt: skip


def _head(s: Scenario, result: Result) -> Document:
    product = f"{s.station.receiver.name}, {s.station.receiver.product}"
    return {
        "title": result.title, "why_it_matters": s.head.why, "name": result.name, "path": result.path,
        "verdict": result.verdict, "station": product, "seed": s.head.seed, "shows": s.head.shows,
        "guards": s.head.guards, "executor": result.executor,
    }  # fmt: skip


# ---- lanes ---------------------------------------------------------------------------------------------
def _lane(group: str, kind: str, label: str, told: str = "", **more: Any) -> Document:
    return {"group": group, "kind": kind, "label": label, "told": told, **more}


def _sequence(table: Table, recording: Recording) -> Iterable[Document]:
    import numpy as np

    names = [step.name for step in Step]
    state = changes(table.times, np.array(STATE_OF)[table["step"]])
    yield _lane("Sequence", "states", "state", "the six states", **state)
    yield _lane(
        "Sequence", "words", "step", "where the sequence stands", words=names, **table.changes("step")
    )
    if table.moves("first_out"):
        words = ["", *recording.logic.interlock_names]
        told = "the interlock that tripped first, until the reset"
        yield _lane("Sequence", "words", "first-out", told, words=words, **table.changes("first_out"))


def _failures(result: Result) -> Iterable[Document]:
    """A bar for each failure mode that was set, from its begin to its end."""
    effects = {mode.id: mode.effect for mode in CATALOGUE}
    found: dict[str, tuple[list[int], list[int]]] = {}
    for at_ms, what in result.done:
        mode, _, move = what.partition(" ")
        if mode in effects and move in ("begins", "ends"):
            times, values = found.setdefault(mode, ([0], [0]))
            times.append(at_ms - sum(times))
            values.append(int(move == "begins"))
    for mode, (times, values) in found.items():
        yield _lane("Failures set", "bar", mode, effects[mode], ms=True, t=times, v=values)


def _named(s: Scenario) -> Iterable[str]:
    """Points and interlocks that the file names outside its conditions: shown also where nothing moves."""
    needs = {mode.id: mode.needs for mode in CATALOGUE}
    for action in (action for beat in s.beats for action in beat.actions):
        if action.kind == "set":
            yield action.name
        if action.kind in ("fail", "mend"):
            yield from (word for word in needs[action.name] if word in s.station.wired)
            yield from (
                point
                for contact, point in POINT_OF.items()
                if f"{action.name}_".startswith(f"{contact}_") and point in s.station.wired
            )
    yield from (e.text for beat in s.beats for e in beat.expected if e.kind == "first_out")


def _interlocks(table: Table, recording: Recording, named: Container[str]) -> Iterable[Document]:
    for name in recording.logic.interlock_names:
        if table.moves(name) or name in named or f"{name.lower()}_acts" in named:
            row = EVENTS.get(name)
            told = f"{row.text} ({row.priority.name.lower()})" if row else ""
            yield _lane("Interlocks", "bar", name, told, **table.changes(name))


def _gauges(table: Table, s: Scenario, fine: list[tuple[int, int]]) -> Iterable[Document]:
    import numpy as np

    extra = {}
    if "plant_body_pa" in table:
        extra["plant_vacuum_pa"] = round(site_pressure_pa(s.plant.site_altitude_m)) - table["plant_body_pa"]
    for gauge in GAUGES:
        quantum = gauge.per_unit // 10**gauge.decimals
        lines = []
        for name, what in gauge.lines:
            if name in WIRED_BY and WIRED_BY[name] not in s.station.wired:
                continue
            if name in table or name in extra:
                column = np.asarray(extra[name] if name in extra else table[name])
                lines.append({"told": what, **analog(table.times, column, quantum, fine)})
        if lines:
            told = gauge.lines[0][1]
            yield _lane(
                "Readings", "analog", gauge.label, told,
                unit=gauge.unit, decimals=gauge.decimals, per_unit=10**gauge.decimals, lines=lines,
            )  # fmt: skip


def _points(table: Table, points: Mapping[str, Point], named: Container[str]) -> Iterable[Document]:
    """Contacts and outputs that move, or that the scenario names."""
    groups = {
        "Outputs": Outputs._fields,
        "Contacts of the field": FIELD_INPUTS,
        "People, quality, control": [n for n in Inputs._fields if n not in FIELD_INPUTS],
    }
    analogs = set(WIRED_BY.values())
    for group, names in groups.items():
        for name in names:
            point = points.get(name)
            loose = point is None and name in FIELD_INPUTS  # moves, and no wire carries it
            if name in analogs or not (name in named or (table.moves(name) and not loose)):
                continue
            tag = point.tag if point else ""
            told = f"{point.description}; {_sense(point)}" if point else "from the shell"
            kind = "words" if name == "jog" else "bool"
            words = {"words": list(JOG)} if name == "jog" else {}
            yield _lane(group, kind, name, told, tag=tag, **words, **table.changes(name))


def _sense(point: Point) -> str:
    return f"energised: {point.sense}" if point.kind == "output" else point.sense.replace("_", " ")


def _facts(
    table: Table, recording: Recording, read: list[str], points: Mapping[str, Point]
) -> Iterable[Document]:
    """What conditions read and no other lane shows."""
    logic = recording.logic
    gauged = {name for gauge in GAUGES for name, _ in gauge.lines}
    others = {*Inputs._fields, *Outputs._fields, *gauged, "step", "first_out", "dt_ms"}
    others |= {f"{name.lower()}_acts" for name in logic.interlock_names}
    for name in read:
        if name in others or name not in table:
            continue
        if name in logic.facts and logic.facts[name].kind is bool:
            yield _lane("Read by expectations", "bool", name, "a fact", **table.changes(name))
        else:
            line = {"told": "whole number", **analog(table.times, table[name], 1)}
            yield _lane(
                "Read by expectations", "analog", name, "", unit="", decimals=0, per_unit=1, lines=[line]
            )


# ---- marks and verdicts --------------------------------------------------------------------------------
def _marks(s: Scenario, result: Result) -> list[Document]:
    """Moments of the timeline and what was done, in order of time."""
    marks = [
        {"at": at_ms, "kind": "moment", "text": beat.moment.text}
        for beat, at_ms in zip(s.beats, result.moments, strict=False)
        if at_ms is not None
    ]
    marks += [{"at": at_ms, "kind": _kind(what), "text": what} for at_ms, what in result.done]
    return sorted(marks, key=lambda mark: int(str(mark["at"])))


def _kind(what: str) -> str:
    if what.endswith((" begins", " ends")):
        return what.rpartition(" ")[2]
    return "power" if what.startswith("power") else "set" if " = " in what else "command"


def _verdicts(table: Table, s: Scenario, result: Result) -> list[Document]:
    """All verdicts, each with its window and, where it has a condition, when that was true."""
    found, facts = [], dict(result.told)
    for v in result.verdicts:
        told = facts.get(v)
        w = window_of(s, result.moments, result.ran_ms, v)
        condition = w.condition.text if w.condition else ""
        found.append({
            "good": v.good, "wanted": v.wanted, "seen": v.seen, "at": v.at_ms, "line": v.line,
            "first": w.first_ms, "last": w.last_ms, "wrong": w.wrong, "because": w.because,
            "facts": list(told.said) if told else [],
            "trace": table.changes(condition) if condition in table else None,
        })  # fmt: skip
    return found
