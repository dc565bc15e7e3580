"""
What a run recorded, scanned again: every fact of every scan, piece by piece, and any one scan laid open.

The recorded inputs are enough, as a scan is a function. Three engines look at them: the compiled scan runs
them in order, the columns work every fact out once more, the rules as written do so where something moved.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from itertools import accumulate
from typing import Any, NamedTuple

from controller.campaign.conditions import Condition, Reader
from controller.campaign.target import Chunk
from controller.engines.as_written import AsWritten
from controller.engines.columns import Columns
from controller.engines.rescan import Rescanner
from controller.explain import Scene
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.segment import whole_memory

PIECE = 20_000
"""Scans looked at together: as many as memory holds with ease."""
EVERY = 500
"""The rules as written look at every scan in which something moves, and at each of so many others."""


class Disagreement(NamedTuple):
    """Two engines that differ over one scan."""

    at_ms: int
    engine: str
    name: str
    there: int
    here: int  # in the scan that ran


class Piece(NamedTuple):
    """Scans in a row, with all their facts."""

    first_ms: int
    memory: list[int]  # before the first
    inputs: Any
    columns: Columns
    readings: Mapping[str, Any]  # of the plant, one column each
    told: tuple[tuple[int, list[int]], ...]  # scan, memory before it: as they were when it ran
    commanded: Any  # outputs and acts as they were when it ran; None where nobody saw them


class Recording:
    """The chunks of a run, by scan."""

    def __init__(
        self, chunks: Iterable[Chunk], rescanner: Rescanner, reader: Reader, presets: Presets, scan_ms: int
    ) -> None:
        self.logic: Logic = rescanner.logic
        self.presets, self.scan_ms, self._rescanner, self._reader = presets, scan_ms, rescanner, reader
        self._parts = list(_pieces(chunks))

    def read_by(self, reader: Reader) -> "Recording":
        """The same recording, its facts by the rules of another reader."""
        other = copy(self)
        vars(other).update(logic=reader.logic, _reader=reader)
        return other

    def pieces(self) -> Iterator[Piece]:
        """All scans, in order."""
        memory: list[int] | None = None
        for part in self._parts:
            memory = part.memory or memory
            assert memory is not None
            done = self._rescanner.run(memory, part.inputs, list(map(int, self.presets)), self.scan_ms)
            columns = Columns(
                self._reader.rules,
                memory,
                part.inputs,
                done,
                self.presets._asdict(),
                self.scan_ms,
                part.readings,
            )
            yield Piece(part.first_ms, memory, part.inputs, columns, part.readings, part.told, part.commanded)
            memory = [int(v) for v in done.memory[-1]]

    def truths(self, conditions: Iterable[Condition]) -> tuple[Any, dict[str, Any]]:
        """When each scan ended [ms], and each condition over all scans, by its text."""
        import numpy as np

        times, found = [], {c.text: (c, list[Any]()) for c in conditions}
        for piece in self.pieces():
            times.append(piece.first_ms + self.scan_ms * np.arange(piece.columns.scans, dtype=np.int64))
            for c, parts in found.values():
                parts.append(piece.columns.whole(c.rule))
        return np.concatenate(times), {text: np.concatenate(parts) for text, (_, parts) in found.items()}

    def scene(self, at_ms: int, engine: AsWritten) -> Scene | None:
        """One scan laid open; None if none ended then."""
        for piece in self.pieces():
            k, rest = divmod(at_ms - piece.first_ms, self.scan_ms)
            if not rest and 0 <= k < piece.columns.scans:
                memory, inputs = self._records(piece, k)
                return Scene(engine, memory, inputs, self.presets, self.scan_ms)
        return None

    def disagreements(self, piece: Piece, engine: AsWritten) -> list[Disagreement]:
        """Where the scans that ran, columns or the rules as written differ from the scans run again."""
        columns, outputs = piece.columns, self.logic.definition.outputs._fields
        ran = columns.rescanned
        found = self._as_it_ran(piece)
        for n, name in enumerate(self.logic.memory):
            found += self._compare("columns", piece, name, columns.this(name), ran.memory[:, n])
        for n, name in enumerate(outputs):
            found += self._compare("columns", piece, name, columns.this(name), ran.outputs[:, n])
        for n, name in enumerate(self.logic.interlock_names):
            acts = columns.this(f"{name.lower()}_acts")
            found += self._compare("columns", piece, name, acts, ran.acts[:, n])
        for k in _moved(columns, self.logic):
            memory, inputs = self._records(piece, k)
            done = engine.scan(memory, inputs, self.presets, self.scan_ms)
            for names, there, here in (
                (self.logic.memory, done.memory, ran.memory[k]),
                (outputs, done.outputs, ran.outputs[k]),
                (self.logic.interlock_names, done.acts, ran.acts[k]),
            ):
                at_ms = piece.first_ms + k * self.scan_ms
                differ = zip(names, map(int, there), map(int, here), strict=True)
                found += [Disagreement(at_ms, "as written", n, a, b) for n, a, b in differ if a != b]
        return found

    def _as_it_ran(self, piece: Piece) -> list[Disagreement]:
        """What the station commanded and remembered, against the same scans run again."""
        ran, found, names = piece.columns.rescanned, [], list(self.logic.memory)
        if piece.commanded is not None:
            width = ran.outputs.shape[1]
            for n, name in enumerate((*self.logic.definition.outputs._fields, *self.logic.interlock_names)):
                here = ran.outputs[:, n] if n < width else ran.acts[:, n - width]
                found += self._compare("the run itself", piece, name, piece.commanded[:, n], here)
        for k, memory in piece.told:
            before = piece.memory if k == 0 else ran.memory[k - 1]
            at_ms = piece.first_ms + k * self.scan_ms
            differ = zip(names, memory, map(int, before), strict=True)
            found += [Disagreement(at_ms, "the run itself", n, a, b) for n, a, b in differ if a != b]
        return found

    def _compare(self, engine: str, piece: Piece, name: str, there: Any, here: Any) -> list[Disagreement]:
        import numpy as np

        wrong = np.flatnonzero(np.broadcast_to(there, here.shape).astype(np.int64) != here)[:1]
        whole = np.broadcast_to(there, here.shape)
        return [
            Disagreement(piece.first_ms + int(k) * self.scan_ms, engine, name, int(whole[k]), int(here[k]))
            for k in wrong
        ]

    def _records(self, piece: Piece, k: int) -> tuple[Any, Any]:
        """Memory before scan k and its inputs, as the engine as written takes them."""
        before = piece.memory if k == 0 else piece.columns.rescanned.memory[k - 1]
        return whole_memory(self.logic, [int(v) for v in before]), whole_inputs(piece.inputs[k])


def whole_inputs(values: Sequence[int]) -> Inputs:
    """Flat inputs as the record that the engine as written takes."""
    hints = Inputs._field_defaults
    named = zip(Inputs._fields, values, strict=True)
    return Inputs._make(bool(value) if isinstance(hints[name], bool) else int(value) for name, value in named)


class _Part(NamedTuple):
    """Scans in a row; memory before the first where the controller woke, else as the part before left it."""

    first_ms: int
    memory: list[int] | None
    inputs: Any
    readings: dict[str, Any]
    told: tuple[tuple[int, list[int]], ...]
    commanded: Any


def _pieces(chunks: Iterable[Chunk]) -> Iterator[_Part]:
    """Chunks joined up to the size of a piece; a new one where the controller woke."""
    joined: list[Chunk] = []
    woke, scans = True, 0
    for chunk in chunks:
        if joined and (chunk.woke or scans + chunk.scans > PIECE):
            yield _joined(joined, woke)
            joined, woke, scans = [], chunk.woke, 0
        joined.append(chunk)
        scans += chunk.scans
    if joined:
        yield _joined(joined, woke)


def _joined(chunks: list[Chunk], woke: bool) -> _Part:
    import numpy as np

    inputs = np.vstack([chunk.inputs for chunk in chunks])
    names = chunks[0].readings
    readings = {name: np.concatenate([chunk.readings[name] for chunk in chunks]) for name in names}
    firsts = [0, *accumulate(chunk.scans for chunk in chunks)]
    told = tuple((k, c.memory) for k, c in zip(firsts, chunks, strict=False) if c.memory)
    seen = [chunk.commanded for chunk in chunks]
    commanded = None if any(part is None for part in seen) else np.vstack(seen)
    memory = chunks[0].memory if woke else None
    return _Part(chunks[0].first_ms, memory, inputs, readings, told, commanded)


def _moved(columns: Columns, logic: Logic) -> list[int]:
    """The scans in which a remembered condition, a step, an output or an act moves; and some others."""
    import numpy as np

    ran = columns.rescanned
    kinds = [logic.facts[name].kind is bool or name == "step" for name in logic.memory]
    table = np.hstack([ran.memory[:, kinds], ran.outputs, ran.acts])
    moved = np.flatnonzero((table[1:] != table[:-1]).any(axis=1)) + 1
    return sorted({0, *map(int, moved), *range(0, columns.scans, EVERY)})
