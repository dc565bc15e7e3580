"""What a cycle is measured by: times and pressures followed through the trace, from segment to segment."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

from controller.sequence.presets import Presets
from controller.sequence.steps import BY_SWITCH, BY_TRANSMITTER, CLEAR, CONVEY, DRAWING, SEAL

DP_MEAN_MS = 1_000
"""The filter's pressure drop is a mean over so long: it swings with every slug."""
PULSES = ("pulse_1_cmd", "pulse_2_cmd", "pulse_3_cmd")


class Columns(Protocol):
    """Scans in a row: what `station_loop.Segment` gives."""

    first_ms: int
    scan_ms: int

    def column(self, name: str) -> list[int]:
        """A point or a memory over these scans."""


class Measures:
    """What has been seen of the cycle that runs; `None` where it was not seen."""

    def __init__(self) -> None:
        self.drawing_peak: list[int] = []  # of each segment
        self.convey_sum = self.convey_scans = 0
        self.air_only: int | None = None
        self.supply_lowest: list[int] = []
        self.supply_resting: int | None = None
        self.opening_ms: int | None = None
        self.closing_ms: int | None = None
        self.draw_ms: int | None = None
        self.release_ms: int | None = None
        self.dp_cleaned: list[int] = []
        self.dp_laden: list[int] = []
        self.pulses = 0

    @property
    def vacuum_mean(self) -> int | None:
        """In convey."""
        return self.convey_sum // self.convey_scans if self.convey_scans else None


class Gauges:
    """
    Reads the columns of the trace; what spans two segments or two cycles it remembers.

    Columns are only fetched in steps where they say something: this runs beside the closed loop.
    """

    def __init__(self, presets: Presets) -> None:
        self._set = presets
        self._pulse_cmds = [0] * len(PULSES)
        self._flap = Travel()
        self._suction = Suction(presets)

    def read(self, segment: Columns, step: int, into: Measures) -> None:
        """Takes a segment that began in `step`."""
        supply = segment.column("supply_pa_g")
        into.supply_lowest.append(min(supply))
        if step == SEAL:
            into.supply_resting = supply[-1]
        if step in DRAWING:
            vacuum = segment.column("vacuum_pa")
            into.drawing_peak.append(max(vacuum))
            if step == CONVEY:
                into.convey_sum += sum(vacuum)
                into.convey_scans += len(vacuum)
                if self._set.dp_fitted:
                    self._read_dp(segment, into)
            if step == CLEAR:
                into.air_only = vacuum[-1]

    def follow(self, segment: Columns, into: Measures) -> None:
        """Takes any segment, of a cycle or between two: commands are followed through all of them."""
        self._flap.follow(segment, into)
        self._suction.follow(segment, into)
        for k, name in enumerate(PULSES):
            commands = segment.column(name)
            if 1 in commands:
                into.pulses += sum(b > a for a, b in pairwise((self._pulse_cmds[k], *commands)))
            self._pulse_cmds[k] = commands[-1]

    def _read_dp(self, segment: Columns, into: Measures) -> None:
        per, scans = self._set.dp_pa_per_100ua, DP_MEAN_MS // segment.scan_ms
        dp = [(current - 4_000) * per // 100 for current in segment.column("filter_dp_ua")]
        into.dp_laden = (into.dp_laden + dp)[-scans:]
        if len(into.dp_cleaned) < scans:
            masked = self._set.dp_mask_ms
            after = [pa for pa, ms in zip(dp, segment.column("step_ms"), strict=True) if ms >= masked]
            into.dp_cleaned += after[: scans - len(into.dp_cleaned)]


class Travel:
    """The flap, from command to switch."""

    def __init__(self) -> None:
        self._command = 0
        self._since_ms: int | None = None

    def follow(self, segment: Columns, into: Measures) -> None:
        """Notes a travel that ends here."""
        commands = segment.column("flap_open_cmd")
        if self._since_ms is None and self._command == commands[0] == commands[-1]:
            return
        switches = {1: segment.column("flap_open_fb"), 0: segment.column("flap_closed_fb")}
        for k, command in enumerate(commands):
            now_ms = segment.first_ms + k * segment.scan_ms
            if command != self._command:
                self._command, self._since_ms = command, now_ms
            elif self._since_ms is not None and switches[command][k]:
                took_ms, self._since_ms = now_ms - self._since_ms, None
                if command:
                    into.opening_ms = took_ms
                else:
                    into.closing_ms = took_ms


class Suction:
    """
    The source: from on to the proving threshold, from off to under the release threshold.

    With a transmitter the moment is worked out between two scans, on a straight line: the vacuum of a small
    body is proved within ten scans, and whole scans would hide a growing leak. A switch tells the proving
    only, to a scan; without an instrument neither is known.
    """

    def __init__(self, presets: Presets) -> None:
        self._set = presets
        self._acts = self._vacuum_before = 0
        self._since_ms: int | None = None

    def follow(self, segment: Columns, into: Measures) -> None:
        """Notes a draw or a release that ends here."""
        acts = segment.column("source_cmd")
        if self._set.bypass_fitted:
            acts = [a & b for a, b in zip(acts, segment.column("bypass_close_cmd"), strict=True)]
        if self._since_ms is None and self._acts == acts[0] == acts[-1]:
            return
        if self._set.vacuum_by == BY_TRANSMITTER:
            self._time(segment, acts, segment.column("vacuum_pa"), into)
        elif self._set.vacuum_by == BY_SWITCH:
            proved = [on * self._set.proving_pa for on in segment.column("vacuum_switch")]
            self._time(segment, acts, proved, into)

    def _time(self, segment: Columns, acts: Sequence[int], vacuum: Sequence[int], into: Measures) -> None:
        for k, (act, now_pa) in enumerate(zip(acts, vacuum, strict=True)):
            now_ms, before_pa = segment.first_ms + k * segment.scan_ms, self._vacuum_before
            self._vacuum_before = now_pa
            if act != self._acts:
                self._acts, self._since_ms = act, now_ms
            elif self._since_ms is None:
                continue
            elif act and now_pa >= self._set.proving_pa:
                into.draw_ms = self._between(before_pa, now_pa, self._set.proving_pa, now_ms, segment.scan_ms)
            elif not act and now_pa < self._set.release_pa:
                at = self._between(before_pa, now_pa, self._set.release_pa, now_ms, segment.scan_ms)
                into.release_ms = at if self._set.vacuum_by == BY_TRANSMITTER else None

    def _between(self, before_pa: int, now_pa: int, limit_pa: int, now_ms: int, scan_ms: int) -> int:
        """Time since the command when the straight line from scan to scan meets the limit."""
        since_ms, self._since_ms = self._since_ms, None
        assert since_ms is not None
        if self._set.vacuum_by != BY_TRANSMITTER or (before_pa >= limit_pa) == (now_pa >= limit_pa):
            return now_ms - since_ms
        return now_ms - since_ms - round(scan_ms * (now_pa - limit_pa) / (now_pa - before_pa))
