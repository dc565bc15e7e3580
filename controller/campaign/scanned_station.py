"""
A simulated station one scan at a time: in real time, and wherever the link between logic and I/O fails.

The rules run as written, as they do on a rig, and the plant stands behind its I/O port. Slower than virtual
time on purpose: nothing can be run again, and a condition is met in the very scan in which it comes true.
"""

from collections.abc import Iterable
from typing import Any

from controller.campaign.conditions import Condition, Reading
from controller.campaign.link_failures import LINK_FAILURES
from controller.campaign.target import Chunk
from controller.clock import Clock
from controller.engines.as_written import AsWritten
from controller.image import Inputs, Outputs
from controller.sequence.presets import Presets
from io_sim.backend import SimulatedIo
from io_sim.parameters import PlantParameters


class ScannedStation:
    """
    Our logic on the simulated plant, a scan a chunk.

    Args:
        engine: The rules as written.
        presets: Of the station.
        plant: What is simulated.
        readings: Of the plant, by the names of conditions.
        seed: Of the plant's chance.
        scan_ms: From scan to scan.
        watchdog_ms: So long the I/O holds outputs that nobody writes anew.
        clock: Real time; None: nothing waits. While a scan is late by a scan or more, the plant stands still
            with it: the computer was late, not the receiver. `latest_ms` tells by how much.
    """

    def __init__(
        self,
        engine: AsWritten,
        presets: Presets,
        plant: PlantParameters,
        readings: Iterable[tuple[str, Reading]],
        seed: int,
        scan_ms: int = 10,
        watchdog_ms: int = 500,
        clock: Clock | None = None,
    ) -> None:
        import numpy as np

        self._np = np
        self.io = SimulatedIo(plant, scan_ms=scan_ms, watchdog_ms=watchdog_ms, seed=seed)
        self.scan_ms, self.now_ms, self._clock = scan_ms, 0, clock
        self._engine, self._presets, self._readings = engine, presets, dict(readings)
        self._memory = engine.logic.power_up()
        self._seen, self._age_ms, self.latest_ms = Inputs(), 0, 0
        self._failing: set[str] = set()
        self._woke = True
        self._due_ms = clock.now_ms() if clock else 0

    def advance(self, scans: int) -> Chunk:
        """As promised: one scan, at its time."""
        self._wait()
        before, inputs = self._memory, self._image()
        seen = self._read()
        done = self._engine.scan(before, inputs, self._presets, self.scan_ms)
        self._memory = done.memory
        self._last = _Scan(self._engine, before, inputs, self._presets, self.scan_ms, seen)
        if not self._apart:
            self.io.write(done.outputs)
        self.now_ms += self.scan_ms
        woke, self._woke = self._woke, False
        ran = [*done.outputs, *done.acts]
        table = self._np.array
        return Chunk(
            self.now_ms, [int(v) for v in before], table([inputs], dtype="int64"), seen,
            table([ran], dtype="int8"), woke,
        )  # fmt: skip

    def comes_true(self, condition: Condition, chunk: Chunk) -> list[bool]:
        """Whether a condition is true in the scan that `advance` gave last."""
        scan: Any = self._last  # answers as columns do, for one scan
        return [bool(condition.rule(scan))]

    def back_to(self, chunk: Chunk, scans: int) -> Chunk:
        """As promised: a chunk is one scan, so there is nothing behind it."""
        assert scans == chunk.scans
        return chunk

    def step(self) -> int:
        """As promised."""
        return int(self._memory.step)

    def point(self, name: str, value: int) -> None:
        """As promised; a life counter or an age that is set stays so."""
        if name in ("io_life", "image_age_ms"):
            self.io.force(name, value)
        else:
            self.io.press(name, value)

    def fail(self, mode: str, amount: float, over_ms: int) -> None:
        """As promised, of the plant or of the link."""
        if mode not in LINK_FAILURES:
            self.io.fail(mode, amount, over_ms / 1_000)
        elif amount:
            self._failing.add(mode)
        else:
            self._failing.discard(mode)

    def stand(self, ms: int) -> None:
        """As promised."""
        for _ in range(ms // self.scan_ms):
            self._wait()
            self.io.write(Outputs())
            self.io.read()
            self.now_ms += self.scan_ms

    def wake(self) -> None:
        """As promised."""
        logic = self._engine.logic
        kept = {name: getattr(self._memory, name) for name in logic.kept}
        self._memory = logic.power_up(kept)
        self._woke = True

    def reading(self, field: str) -> float:
        """As promised."""
        return float(getattr(self.io.plant.state, field))

    # ---- time, the link, the plant -------------------------------------------------------------------
    @property
    def _apart(self) -> bool:
        return bool(self._failing - {"life_stands"})

    def _image(self) -> Inputs:
        """What the logic sees: the image of now, or the last one, grown older."""
        life, now = self._seen.io_life, self.io.read()
        if not self._apart:
            self._seen = now._replace(io_life=life) if self._failing else now
            self._age_ms = 0
            return self._seen
        self._age_ms += self.scan_ms
        return self._seen._replace(image_age_ms=self._seen.image_age_ms + self._age_ms)

    def _wait(self) -> None:
        """Until the scan is due; one that comes too late moves those behind it."""
        if self._clock is None:
            return
        self._due_ms += self.scan_ms
        self._clock.sleep_until(self._due_ms)
        late_ms = self._clock.now_ms() - self._due_ms
        self.latest_ms = max(self.latest_ms, late_ms)
        if late_ms >= self.scan_ms:
            self._due_ms += late_ms

    def _read(self) -> dict[str, Any]:
        state = self.io.plant.state
        whole = {name: int(getattr(state, r.field) * r.times // 1) for name, r in self._readings.items()}
        return {name: self._np.array([value], dtype="int64") for name, value in whole.items()}


class _Scan:
    """One scan by the names of what can be read in it; a fact is worked out when it is asked for."""

    def __init__(
        self, engine: AsWritten, before: Any, inputs: Inputs, presets: Presets, dt_ms: int,
        readings: dict[str, Any],
    ) -> None:  # fmt: skip
        self._facts = engine.facts_asked(before, inputs, presets, dt_ms)
        self._memory, self._inputs, self._presets, self._dt_ms = before, inputs, presets, dt_ms
        self._readings = readings

    def constant(self, value: bool | int) -> Any:
        """As of columns."""
        import numpy as np

        return np.bool_(value) if isinstance(value, bool) else np.int64(value)

    def now(self, name: str) -> Any:
        """As of columns."""
        return (
            self._readings[name][0] if name in self._readings else self.constant(getattr(self._inputs, name))
        )

    def was(self, name: str) -> Any:
        """As of columns."""
        return self.constant(getattr(self._memory, name))

    def set(self, name: str) -> Any:
        """As of columns."""
        return self.constant(getattr(self._presets, name))

    def this(self, name: str) -> Any:
        """As of columns."""
        return self.constant(self._dt_ms if name == "dt_ms" else self._facts[name])
