"""What a cell came to, and the diagnostic coverage of all of them."""

from collections.abc import Container, Mapping, Sequence
from typing import NamedTuple

from controller.campaign.detection.expectations import Expectation, Mode

IN_TIME, LATE, OTHER, MISSED = "in time", "late", "other alarm", "missed"
BLIND, SEEN_ANYWAY, TOO_LATE, UNWRITTEN = "not detectable", "seen anyway", "too late", "nothing written"
WORDS = {
    IN_TIME: "the alarm that was expected came within its time",
    LATE: "an alarm came, but later than was written",
    OTHER: "another alarm came, not the expected one",
    MISSED: "an alarm was expected and none came",
    BLIND: "not detectable, as was expected: nothing came",
    SEEN_ANYWAY: "an alarm came where none was expected",
    TOO_LATE: "it is told when the harm is done: counts as not detected",
    UNWRITTEN: "nobody wrote what must follow",
}
DETECTED = frozenset({IN_TIME, OTHER, SEEN_ANYWAY})
"""What counts as detected: an alarm within the longest time, be it another one."""
GAPS = frozenset({LATE, OTHER, MISSED, SEEN_ANYWAY, UNWRITTEN})
"""Where what is written and what runs do not agree."""


class Cell(NamedTuple):
    """What came of one failure mode that began in one step. Times in ms since it began."""

    mode: str
    step: int
    verdict: str  # one of WORDS
    seen: str  # the alarm that counts; empty: none
    seen_ms: int
    ids: tuple[str, ...]  # expected
    within_ms: int
    why: str  # why nothing can tell it, or is too late
    written: bool
    others: tuple[str, ...]  # what acted besides, in order
    ran_ms: int


def verdict(
    wanted: Expectation, acted: Mapping[str, int], within_ms: int, normal: Container[str]
) -> tuple[str, str]:
    """The word, and the alarm that counts."""
    came = sorted((at_ms, name) for name, at_ms in acted.items() if name in wanted.ids)
    if came:
        word = IN_TIME if came[0][0] <= within_ms else LATE
        return (TOO_LATE if wanted.too_late else word), came[0][1]
    others = sorted((at_ms, name) for name, at_ms in acted.items() if name not in normal)
    if others:
        word = OTHER if wanted.ids else SEEN_ANYWAY
        return (word if not wanted.ids or others[0][0] <= within_ms else LATE), others[0][1]
    if wanted.too_late:
        return TOO_LATE, ""
    return (MISSED if wanted.ids else BLIND), ""


class Coverage(NamedTuple):
    """
    Diagnostic coverage in the words of IEC 61508 (from memory): dangerous detected of all dangerous.

    Every cell, or mode, counts one, as nobody knows the rates of these failures. Bookkeeping of a
    simulation: neither a performance level nor a SIL follows from it.
    """

    safe_detected: int
    safe_undetected: int
    dangerous_detected: int
    dangerous_undetected: int

    @property
    def percent(self) -> float:
        """Dangerous detected of all dangerous; 100 if there is none."""
        dangerous = self.dangerous_detected + self.dangerous_undetected
        return 100 * self.dangerous_detected / dangerous if dangerous else 100.0


def coverage(cells: Sequence[Cell], modes: Sequence[Mode]) -> Coverage:
    """Each cell counts one."""
    dangerous = {mode.id for mode in modes if mode.dangerous}
    return _counted([(cell.mode in dangerous, cell.verdict in DETECTED) for cell in cells])


def coverage_of_modes(cells: Sequence[Cell], modes: Sequence[Mode]) -> Coverage:
    """Each mode counts one, and as detected only if it is in whichever step it begins."""
    return _counted(
        [
            (mode.dangerous, all(cell.verdict in DETECTED for cell in cells if cell.mode == mode.id))
            for mode in modes
        ]
    )


def _counted(pairs: list[tuple[bool, bool]]) -> Coverage:
    return Coverage(
        *(pairs.count(pair) for pair in ((False, True), (False, False), (True, True), (True, False)))
    )
