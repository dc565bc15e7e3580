"""The columns of a recording by name, each over the whole run: what pages and diagrams are drawn from."""

from collections.abc import Iterable
from typing import Any

from controller.campaign.conditions import Condition
from controller.campaign.recording import Recording
from controller.campaign.traces import changes
from controller.image import Inputs, Outputs


class Table:
    """All columns of a recording by name, each over the whole run."""

    def __init__(self, recording: Recording, conditions: Iterable[Condition], names: Iterable[str]) -> None:
        import numpy as np

        rules = {c.text: c.rule for c in conditions}
        logic, parts = recording.logic, list[dict[str, Any]]()
        self.gaps: list[tuple[int, int]] = []
        end_ms = 0
        for piece in recording.pieces():
            columns, scans = piece.columns, piece.columns.scans
            if parts and piece.first_ms != end_ms + recording.scan_ms:
                self.gaps.append((end_ms, piece.first_ms))
            end_ms = piece.first_ms + (scans - 1) * recording.scan_ms
            ran = columns.rescanned
            found = {
                "time": np.arange(scans, dtype=np.int64) + piece.first_ms // recording.scan_ms,
                **{n: piece.inputs[:, k] for k, n in enumerate(Inputs._fields)},
                **{n: ran.outputs[:, k] for k, n in enumerate(Outputs._fields)},
                **{n: ran.acts[:, k] for k, n in enumerate(logic.interlock_names)},
                **{n: np.broadcast_to(columns.this(n), (scans,)) for n in names if n in logic.facts},
                **{text: columns.whole(rule) for text, rule in rules.items()},
                **piece.readings,
            }
            parts.append(found)
        joined = {name: [part[name] for part in parts] for name in parts[0]}
        self._columns = {name: np.concatenate(columns) for name, columns in joined.items()}
        self.times = self._columns["time"]

    def __contains__(self, name: str) -> bool:
        return name in self._columns

    def __getitem__(self, name: str) -> Any:
        return self._columns[name]

    def moves(self, name: str) -> bool:
        """Whether a column has more than one value."""
        column = self._columns[name]
        return bool((column != column[0]).any())

    def changes(self, name: str) -> dict[str, Any]:
        """Where a column changes."""
        return dict(changes(self.times, self._columns[name]))
