"""What a search keeps of a run: the columns that its rules read alone; and what breaks the rules."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from controller.campaign.conditions import Condition, Reader
from controller.campaign.patterns import Pattern
from controller.campaign.target import Chunk, VirtualStation
from controller.engines.columns import Columns
from controller.engines.rescan import Rescanned
from controller.sequence.expressions import Read, reads_of
from controller.sequence.logic import Logic
from io_sim.state import State

PIECE = 20_000
"""Scans looked at together."""


class Violation(NamedTuple):
    """A rule that was broken: by its name, first when."""

    rule: str
    at_ms: int
    where: str = ""  # of what stands still: where it stands


class Watch:
    """Which columns of the trace the patterns read, and the patterns over them."""

    def __init__(self, reader: Reader, patterns: Mapping[str, Pattern], presets: Mapping[str, int]) -> None:
        self._rules, self._patterns, self._presets = reader.rules, patterns, presets
        conditions = [c for p in patterns.values() for c in p.conditions]
        self.conditions = {c.text: c for c in conditions}
        self.readings = list(dict.fromkeys(item for c in conditions for item in c.readings.items()))
        self.traced = list(dict.fromkeys(_traced(reader.logic, conditions)))

    def truths(self, table: Any, before: Any, readings: Mapping[str, Any], dt_ms: int) -> dict[str, Any]:
        """Each condition over scans in a row; `table` and `before` are the traced columns."""
        slim = _Slim(self._rules, self.traced, table, before, readings, self._presets, dt_ms)
        return {text: slim.whole(c.rule) for text, c in self.conditions.items()}

    def broken(self, times: Any, truths: Mapping[str, Any], scan_ms: int) -> list[Violation]:
        """What broke which rule first when."""
        found = []
        for name, pattern in self._patterns.items():
            wrong = times[pattern.broken(times, scan_ms, lambda c: truths[c.text])]
            if len(wrong):
                found.append(Violation(name, int(wrong[0])))
        return found


def _traced(logic: Logic, conditions: Iterable[Condition]) -> Iterator[str]:
    """
    What stands in the trace of the loop: inputs, outputs, memory, and interlocks by their name.

    Other facts are worked out again from these.
    """
    acts = {f"{name.lower()}_acts": name for name in logic.interlock_names}
    kept = {*logic.memory, *logic.definition.outputs._fields}
    inputs = logic.definition.inputs._fields
    queue = list(dict.fromkeys(read for c in conditions for read in c.reads))
    for group, name in queue:
        if group == "this" and name in acts:
            yield acts[name]
        elif group == "was" or name in (inputs if group == "now" else kept):
            yield name
        elif group == "this" and name in logic.facts:
            queue += [read for read in reads_of(logic.facts[name].tree) if read not in queue]


class _Slim(Columns):
    """Columns of what was traced alone."""

    def __init__(
        self,
        rules: Any,
        names: Sequence[str],
        table: Any,
        before: Any,
        readings: Any,
        presets: Any,
        dt_ms: int,
    ) -> None:
        import numpy as np

        logic = rules.logic
        empty = Rescanned(*(np.zeros((len(table), 0), dtype=np.int64) for _ in range(3)))
        self.rules, self.scans, self._presets, self._extra = rules, len(table), presets, readings
        self.rescanned, self._kinds = empty, logic.kinds
        self._inputs, self._before = table, np.vstack([before, table[:-1]])
        self._place = {Read(group, name): k for k, name in enumerate(names) for group in ("now", "was")}
        self._facts = {"dt_ms": np.int64(dt_ms)}
        for k, name in enumerate(names):
            for read in (Read("this", name), Read("this", f"{name.lower()}_acts")):
                if read in logic.kinds:
                    self._facts[read.name] = table[:, k] != 0 if logic.kinds[read] is bool else table[:, k]


class WatchedStation(VirtualStation):
    """A simulated station of which only the watched columns are kept."""

    def __init__(self, watch: Watch, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._watch = watch
        self._places = [self.loop.places[name] for name in watch.traced]
        self._before = self._remembered()
        self._seen = {(self.step(), 0)}
        self._tables: list[Any] = []  # of the scans not looked at yet
        self._read: dict[str, list[Any]] = {name: [] for name, _ in watch.readings}
        self._truths: list[dict[str, Any]] = []
        self._times: list[Any] = []

    def advance(self, scans: int) -> Chunk:
        """As promised, but for the chunk: it has no inputs."""
        np, loop, width = self._np, self.loop, len(State._fields)
        segment = loop.run(scans)
        self._seen.add((self.step(), loop.remembers("first_out")))
        count = segment.scans
        table = np.asarray(loop.trace[: count * loop.row], dtype=np.int64).reshape(count, loop.row)
        self._tables.append(table[:, self._places])
        for name, (field, times) in self._watch.readings:
            column = np.asarray(loop.states[State._fields.index(field) : count * width : width])
            self._read[name].append(np.floor(column * times).astype(np.int64))
        self._times.append(segment.first_ms + self.scan_ms * np.arange(count, dtype=np.int64))
        if sum(map(len, self._tables)) > PIECE:
            self._look()
        return Chunk(segment.first_ms, [], range(count), {})

    @property
    def reached(self) -> frozenset[str]:
        """The steps that were stood in, and the interlocks that tripped, by name."""
        names = self.logic.interlock_names
        first_outs = {names[first_out - 1] for _, first_out in self._seen if first_out}
        return frozenset(first_outs | {self.logic.step_names[step] for step, _ in self._seen})

    def wake(self) -> None:
        """As promised."""
        self._look()
        super().wake()
        self._before = self._remembered()

    def violations(self) -> list[Violation]:
        """What broke the rules, over all that was run."""
        self._look()
        np = self._np
        truths = {text: np.concatenate([t[text] for t in self._truths]) for text in self._watch.conditions}
        return self._watch.broken(np.concatenate(self._times), truths, self.scan_ms)

    def _look(self) -> None:
        """Works the conditions out over the scans since the last look."""
        if not self._tables:
            return
        np = self._np
        table = np.asfortranarray(np.vstack(self._tables))
        readings = {name: np.concatenate(parts) for name, parts in self._read.items()}
        self._truths.append(self._watch.truths(table, self._before, readings, self.scan_ms))
        self._before, self._tables = table[-1:], []
        self._read = {name: [] for name in self._read}

    def _remembered(self) -> Any:
        """What the next scan finds in its memory; of what is none, nothing."""
        traced, memory = self._watch.traced, self.logic.memory
        row = [self.loop.remembers(name) if name in memory else 0 for name in traced]
        return self._np.array([row], dtype=self._np.int64)
