"""
What shows at the I/O alone: wired inputs and outputs, and readings of the simulated plant.

Of a controller that is not ours nothing else is known: no step, no fact, no alarm, no interlock. What a
scenario asks of those is not judged, and never counts as passed.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from controller.campaign.conditions import Condition
from controller.campaign.drive import BUTTONS
from controller.campaign.link_failures import LINK_FAILURES
from controller.campaign.scenario import Action, Beat, Scenario
from controller.campaign.target import Chunk
from controller.image import Inputs, Outputs


class IoColumns:
    """Scans in a row by the names that show at the I/O; what rules over columns are run on."""

    def __init__(self, inputs: Any, outputs: Any, readings: Mapping[str, Any]) -> None:
        self.scans = len(inputs)
        self._now = {**_named(Inputs, inputs), **readings}
        self._this = _named(Outputs, outputs)

    def constant(self, value: bool | int) -> Any:
        """The same value for all scans."""
        import numpy as np

        return np.bool_(value) if isinstance(value, bool) else np.int64(value)

    def now(self, name: str) -> Any:
        """An input, or a reading of the plant."""
        return self._now[name]

    def this(self, name: str) -> Any:
        """An output."""
        return self._this[name]

    def whole(self, rule: Any) -> Any:
        """The column of a rule, one value for each scan."""
        import numpy as np

        return np.broadcast_to(rule(self), (self.scans,))


class IoPiece(NamedTuple):
    """Scans in a row: scan k of them ends at first_ms + k x scan_ms."""

    first_ms: int
    columns: IoColumns


class IoRecording:
    """
    What was recorded at the I/O.

    Args:
        chunks: In order; `commanded` holds the outputs alone.
        wired: The points that are seen.
        scan_ms: Between two scans.
    """

    def __init__(self, chunks: Iterable[Chunk], wired: Collection[str], scan_ms: int) -> None:
        self.scan_ms, self._wired, self._chunks = scan_ms, frozenset(wired), list(chunks)

    def pieces(self) -> Iterator[IoPiece]:
        """All scans, in order, in one piece."""
        import numpy as np

        chunks = self._chunks
        if not chunks:
            return
        readings = {
            name: np.concatenate([chunk.readings[name] for chunk in chunks]) for name in chunks[0].readings
        }
        inputs = np.vstack([chunk.inputs for chunk in chunks])
        outputs = np.vstack([chunk.commanded for chunk in chunks])
        yield IoPiece(chunks[0].first_ms, IoColumns(inputs, outputs, readings))

    def hides(self, condition: Condition) -> str:
        """Why a condition cannot be seen; empty where it can."""
        return hidden(condition, self._wired)


def hidden(condition: Condition, wired: Collection[str]) -> str:
    """Why a condition does not show at the I/O; empty where it does."""
    names = [
        read.name
        for read in condition.reads
        if not (
            (read.group == "now" and (read.name in wired or read.name in condition.readings))
            or (read.group == "this" and read.name in Outputs._fields and read.name in wired)
        )
    ]
    return f"{_listed(dict.fromkeys(names))} not show at the I/O" if names else ""


def cannot_be_driven(scenario: Scenario, wired: Collection[str]) -> list[tuple[int, str]]:
    """
    What stands in a timeline that nobody can do or wait for at the I/O: line of the file, and why.

    Args:
        scenario: With its timeline.
        wired: The points that are seen; people press those among them that are inputs.
    """
    found = []
    for beat in scenario.beats:
        found += [(beat.line, why) for why in _of_beat(beat, wired)]
    return found


def _of_beat(beat: Beat, wired: Collection[str]) -> Iterator[str]:
    if beat.moment.steps:
        yield f"`{beat.moment.text}` is a step of our own logic, which does not show at the I/O"
    if beat.moment.condition and (why := hidden(beat.moment.condition, wired)):
        yield f"`{beat.moment.text}` cannot be waited for: {why}"
    for action in beat.actions:
        if why := _of_action(action, wired):
            yield why


def _of_action(action: Action, wired: Collection[str]) -> str:
    if action.kind == "power_cut":
        return "the power of a controller that is not ours cannot be cut"
    if action.kind == "command":
        point = "stop_healthy" if action.name == "stop" else BUTTONS.get(action.name, "")
        if action.source != "panel" or not point:
            return f"{action.name} from the {action.source} is no button at the I/O"
        return "" if point in wired else f"{action.name} has no button here: {point} is not wired"
    if action.kind == "set" and action.name not in wired:
        return f"{action.name} is no point of the I/O"
    return ""


def injects(scenario: Scenario) -> list[tuple[int, str]]:
    """The failures that a timeline begins or ends: line of the file, and which."""
    return [
        (beat.line, action.name)
        for beat in scenario.beats
        for action in beat.actions
        if action.kind in ("fail", "mend")
    ]


def link_fails(scenario: Scenario) -> bool:
    """Whether a timeline lets the link itself fail."""
    return any(mode in LINK_FAILURES for _, mode in injects(scenario))


def _named(record: Any, table: Any) -> dict[str, Any]:
    """Columns by name: contacts and outputs are truths, currents whole numbers."""
    kinds = record._field_defaults
    return {
        name: table[:, k] != 0 if isinstance(kinds[name], bool) else table[:, k]
        for k, name in enumerate(record._fields)
    }


def _listed(names: Iterable[str]) -> str:
    said = [f"`{name}`" for name in names]
    return f"{said[0]} does" if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]} do"
