"""
The figures of a station in the text exposition format of Prometheus, version 0.0.4.

Names carry their base unit (seconds, pascals, kilograms), totals end in `_total`. Pressures are given as the
transmitters mean them: `reference` says from where they count. What cannot be trusted has no sample at all,
so that a graph shows a gap and never a made-up number.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal, NamedTuple, get_args

from controller.reporting.station_now import LinkNow, Reading, State, StationNow
from controller.reporting.views.ne107 import device_status, signal_health
from controller.reporting.views.tr88 import machine_state

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
PASCALS = {"kPa vacuum": (1_000.0, "vacuum"), "kPa gauge": (1_000.0, "gauge"), "kPa": (1_000.0, "difference")}
"""Pascals in a unit of the points, and from where it counts."""

_NAME = re.compile(r"[a-zA-Z_:][a-zA-Z0-9_:]*")
_LABEL = re.compile(r"(?!__)[a-zA-Z_][a-zA-Z0-9_]*")


class Sample(NamedTuple):
    """One figure and its labels."""

    value: float
    labels: Mapping[str, str] = {}


class Family(NamedTuple):
    """All figures of one name."""

    name: str
    kind: Literal["gauge", "counter"]
    help: str
    samples: Sequence[Sample]


class Figures(NamedTuple):
    """What is counted outside of the state: since power-up."""

    up_ms: int
    scans: int
    deadlines_missed: int
    latest_us: int  # the latest that a scan began
    cycles: Mapping[str, int]  # by their result
    delivered_kg: float | None  # None: nothing weighs it
    alarms: Mapping[str, int]  # how often each called
    heard: bool = True  # the controller has spoken within the last seconds


def exposition(families: Iterable[Family]) -> str:
    r"""
    The text of these families; one without a sample is left out, and so is a value that is not finite.

    Raises ValueError: a name or a label is none of the format, or a name comes twice.

    >>> waits = Family("a_seconds", "gauge", "how long", [Sample(1.5, {"of": 'the "flap"'})])
    >>> print(exposition([waits]), end="")
    # HELP a_seconds how long
    # TYPE a_seconds gauge
    a_seconds{of="the \"flap\""} 1.5
    """
    lines: list[str] = []
    seen: set[str] = set()
    for family in families:
        if not _NAME.fullmatch(family.name) or family.name in seen:
            msg = f"{family.name}: is no name of a metric, or comes twice"
            raise ValueError(msg)
        seen.add(family.name)
        samples = [sample for sample in family.samples if math.isfinite(sample.value)]
        if samples:
            told = family.help.replace("\\", r"\\").replace("\n", r"\n")
            lines += [f"# HELP {family.name} {told}", f"# TYPE {family.name} {family.kind}"]
            lines += [f"{family.name}{_labels(sample.labels)} {_number(sample.value)}" for sample in samples]
    return "".join(f"{line}\n" for line in lines)


def families(
    station: str,
    now: StationNow,
    readings: Sequence[Reading],
    link: LinkNow,
    figures: Figures,
    *,
    simulated: bool,
) -> list[Family]:
    """What a collector is given of one station."""
    found = [*_state(now, readings, simulated=simulated), *_points(readings, simulated=simulated)]
    found += [*_counted(figures), *_told(now, link, simulated=simulated)]
    return [
        family._replace(samples=[s._replace(labels={"station": station, **s.labels}) for s in family.samples])
        for family in found
    ]


def _state(now: StationNow, readings: Sequence[Reading], *, simulated: bool) -> Iterator[Family]:
    there, device = machine_state(now), device_status(now, readings, simulated=simulated)
    states = [Sample(float(state == now.state), {"state": state}) for state in get_args(State)]
    yield Family("receiver_state", "gauge", "1 for the state that the sequence is in", states)
    yield Family("receiver_machine_state", "gauge", "number of the state, modelled on ISA-TR88.00.02",
                 [Sample(there.number)])  # fmt: skip
    yield Family("receiver_device_status", "gauge",
                 "modelled on NAMUR NE 107: 0 normal, 1 failure, 2 check function, 3 out of specification, "
                 "4 maintenance required", [Sample(device.health.number)])  # fmt: skip
    yield Family(
        "receiver_alarms_standing", "gauge", "alarms that are not normal", [Sample(len(now.standing))]
    )
    yield Family("receiver_maintenance_due", "gauge", "counters of wear over their limit",
                 [Sample(len(now.due))])  # fmt: skip


def _points(readings: Sequence[Reading], *, simulated: bool) -> Iterator[Family]:
    pressures, contacts, healths = [], [], []
    for reading in readings:
        labels = {"tag": reading.tag, "point": reading.name}
        healths.append(Sample(signal_health(reading, simulated=simulated).number, labels))
        if reading.kind != "4-20 mA":
            if reading.signal == "good":
                contacts.append(Sample(reading.raw, {**labels, "kind": reading.kind}))
        elif reading.value is not None and reading.signal in ("good", "doubtful"):
            pascals, reference = PASCALS[reading.unit]
            pressures.append(Sample(reading.value * pascals, {**labels, "reference": reference}))
    yield Family("receiver_pressure_pascals", "gauge", "as the transmitters measure it", pressures)
    yield Family("receiver_point_on", "gauge", "1 while current flows in a contact or to an output", contacts)
    yield Family("receiver_point_status", "gauge", "of each point, modelled on NAMUR NE 107", healths)


def _counted(figures: Figures) -> Iterator[Family]:
    cycles = [Sample(count, {"result": result}) for result, count in sorted(figures.cycles.items())]
    calls = [Sample(count, {"alarm": name}) for name, count in sorted(figures.alarms.items())]
    kg = [] if figures.delivered_kg is None else [Sample(figures.delivered_kg)]
    yield Family("receiver_controller_heard", "gauge", "0: it says nothing, and all else here is of before",
                 [Sample(figures.heard)])  # fmt: skip
    yield Family("receiver_up_seconds", "gauge", "since power-up", [Sample(figures.up_ms / 1_000)])
    yield Family("receiver_cycles_total", "counter", "cycles by how they ended", cycles)
    yield Family("receiver_delivered_kilograms_total", "counter", "into the vessel below, as weighed", kg)
    yield Family("receiver_alarm_calls_total", "counter", "how often each alarm called", calls)
    yield Family("receiver_scans_total", "counter", "scans", [Sample(figures.scans)])
    yield Family("receiver_scan_deadlines_missed_total", "counter", "scans that were left out",
                 [Sample(figures.deadlines_missed)])  # fmt: skip
    yield Family("receiver_scan_lateness_max_seconds", "gauge", "the latest that a scan began after its time",
                 [Sample(figures.latest_us / 1_000_000)])  # fmt: skip


def _told(now: StationNow, link: LinkNow, *, simulated: bool) -> Iterator[Family]:
    yield Family("receiver_simulated", "gauge", "1: no machine stands behind this", [Sample(simulated)])
    yield Family("receiver_forced_inputs", "gauge", "inputs that read other than their wire",
                 [Sample(len(now.forced))])  # fmt: skip
    yield Family("receiver_broker_connected", "gauge", "1 while the broker is reached", [Sample(link.online)])
    yield Family("receiver_records_waiting", "gauge", "events and cycle records that wait for the broker",
                 [Sample(link.waiting)])  # fmt: skip
    yield Family("receiver_tags_dropped_total", "counter", "tag messages that were not sent",
                 [Sample(link.tags_dropped)])  # fmt: skip
    yield Family("receiver_records_removed_total", "counter", "that no broker took before they had to go",
                 [Sample(link.lines_removed)])  # fmt: skip
    yield Family("receiver_commands_unheard_total", "counter", "commands from the broker that got no answer",
                 [Sample(link.commands_unheard)])  # fmt: skip


def _labels(labels: Mapping[str, str]) -> str:
    for name in labels:
        if not _LABEL.fullmatch(name):
            msg = f"{name}: is no name of a label"
            raise ValueError(msg)
    inside = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())
    return f"{{{inside}}}" if inside else ""


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace("\n", r"\n").replace('"', r"\"")


def _number(value: float) -> str:
    return str(int(value)) if float(value).is_integer() and abs(value) < 2**53 else repr(float(value))
