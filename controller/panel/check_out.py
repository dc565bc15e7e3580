"""
The I/O check-out: point by point, with somebody at the machine who says what he did and what he saw.

Nothing is energised before a person has given the area as clear by name and the horn has sounded; an output
is held as in manual mode, so the last word stays on it and it falls when this program ends.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import NamedTuple

from controller.image import JOG
from controller.panel.area import Area
from controller.panel.check_out_sheet import Entry, Sheet, Verdict
from controller.panel.client import Client
from controller.panel.forcing import NEVER_ON_REAL_IO
from controller.panel.messages import ForceAsked, HoldAsked
from controller.panel.rig import PointNow
from controller.panel.said import marks, outcome
from controller.panel.watch import Watch, now

HELP = """\
  Enter            look again
  good HOW         the point is right; HOW it was moved, in a few words. By word only, if this program has not
                   seen both of its states, and of an output its feedback move
  bad HOW          it is not
  hold             energise this output in manual mode, after the horn, until `release`
  force VALUE      let this input read on, off or a current as 12.5 mA, until `release`
  release          end the hold or force
  manual, automatic, stop, acknowledge    commands to the rig
  next             leave this point for now
  end              stop here; the sheet is saved and can be gone on with"""


class People(NamedTuple):
    """Who does the check-out, and how to speak with them."""

    by: str
    date: Callable[[], datetime]
    area: Area


class CheckOut:
    """One walk over the points of a rig that have no good entry yet."""

    def __init__(
        self,
        client: Client,
        sheet: Sheet,
        people: People,
        beating: Callable[[Watch], AbstractContextManager[None]],
    ) -> None:
        self._client, self._sheet, self._people, self._beating = client, sheet, people, beating
        self._ask, self._tell = people.area.ask, people.area.tell
        self._clear_by = ""

    def walk(self, points: Sequence[PointNow]) -> bool:
        """Goes over the points, in order; True when each has a good entry."""
        tell = self._tell
        done = self._sheet.verdicts()
        left = [p for p in points if done.get(p.name) != "good"]
        good = len(points) - len(left)
        tell(f"{self._sheet.path}: {good} of {len(points)} points are good. Words:\n{HELP}")
        try:
            for point in left:
                if not self._point(point):
                    break
        except EOFError:
            tell("nobody answers: ended here")
        done = self._sheet.verdicts()
        counts = Counter(done.get(p.name, "open") for p in points)
        named = (
            f"{verdict}: {', '.join(p.name for p in points if done.get(p.name) == verdict) or 'none'}"
            for verdict in ("by word only", "not good")
        )
        good, open_ = counts["good"], counts["open"]
        tell(f"{self._sheet.saved}; good: {good}; {'; '.join(named)}; open: {open_}")
        return good == len(points)

    def _point(self, point: PointNow) -> bool:
        """One point; False: end here."""
        watch = Watch(self._client, point.name)
        self._clear_by = ""
        self._tell(f"\n{point.tag} {point.name}: {point.description}")
        with self._beating(watch):
            while True:
                for line in _beside(watch):
                    self._tell(f"  {line}")
                typed = self._ask(f"{point.name} is {now(watch.point)} > ")
                word, _, rest = typed.strip().partition(" ")
                match word:
                    case "good" | "bad":
                        if self._enter(point, watch, word == "good", rest.strip()):
                            return True
                    case "next":
                        return True
                    case "end":
                        return False
                    case _:
                        self._act(point, watch, word, rest.strip())

    def _act(self, point: PointNow, watch: Watch, word: str, rest: str) -> None:
        tell = self._tell
        match word:
            case "":
                watch.beat()
            case "release":
                watch.let_go()
            case "manual" | "automatic" | "stop" | "acknowledge":
                tell(f"  {outcome(word, watch.command(word, self._people.by))}")
            case "hold" | "force":
                self._keep(point, watch, word, rest)
            case _:
                tell(HELP)

    def _keep(self, point: PointNow, watch: Watch, word: str, rest: str) -> None:
        """Holds or forces the point, once a person has given the area as clear."""
        tell, by = self._tell, self._people.by
        value, station = level(point, rest), self._sheet.station
        real = watch.status is None or watch.status.real
        if word == "hold" and point.name not in JOG:
            tell("  only an output that moves or feeds something is held; lamps and horn show by themselves")
        elif word == "force" and (point.kind == "output" or value is None):
            tell("  force an input to on, off or a current from 0 to 24 mA; an output is held")
        elif word == "force" and real and point.name in NEVER_ON_REAL_IO:
            tell(f"  {point.name} is never forced on real I/O")
        elif name := self._people.area.clear_by(station, f"{point.tag} {point.name}", real=real):
            asked = (
                HoldAsked(ask="hold", output=point.name, area_clear_by=name, on_behalf_of=by)
                if word == "hold"
                else ForceAsked(
                    ask="force", point=point.name, value=value or 0, area_clear_by=name, on_behalf_of=by
                )
            )
            answer = watch.keep(asked)
            self._clear_by = name if answer.answer == "accepted" else self._clear_by
            horn = f"; the horn sounds for {answer.horn_ms / 1_000:g} s first" if answer.horn_ms else ""
            tell(f"  {outcome(word, answer)}{horn}")

    def _enter(self, point: PointNow, watch: Watch, good: bool, how: str) -> bool:
        """Writes the entry; False where it lacks something, or is by word only and may still be moved."""
        if not how:
            self._tell("  say how it was moved or looked at: good probe covered by hand")
            return False
        if self._clear_by:
            kept = "held" if point.kind == "output" else "forced"
            how += f" ({kept}, area given as clear by {self._clear_by})"
        when = self._people.date().isoformat(timespec="seconds")
        unmoved = watch.unmoved() if good else ()
        verdict: Verdict = ("by word only" if unmoved else "good") if good else "not good"
        sheet = self._sheet
        head = (sheet.station, sheet.io, point.tag, point.name, verdict)
        sheet.add(Entry(*head, how, watch.seen(), self._people.by, when))
        if unmoved:
            self._tell(
                f"  entered as BY WORD ONLY: not seen in both states: {', '.join(unmoved)}. "
                "Let it move, for a second at least, and say good again; or next"
            )
        return not unmoved


def level(point: PointNow, typed: str) -> int | None:
    """
    What was typed as the raw value of an input: 0 or 1, or microamperes; None if it is none.

    >>> from controller.panel.rig import PointNow
    >>> signal = PointNow(tag="PT-1", name="vacuum_ua", description="", kind="4-20 mA", quality="good",
    ...                   raw=4_000, value=0, unit="kPa vacuum", age_ms=5)
    >>> level(signal, "12.5 mA"), level(signal, "on")
    (12500, None)
    """
    if point.kind == "contact":
        return {"on": 1, "off": 0}.get(typed.lower())
    try:
        raw_ua = round(float(typed.lower().removesuffix("ma")) * 1_000)
    except (ValueError, OverflowError):
        return None
    return raw_ua if 0 <= raw_ua <= 24_000 else None


def _beside(watch: Watch) -> list[str]:
    """What must be known before the next word is typed."""
    told = list(marks(watch.status)) if watch.status else []
    return [*told, *([f"ENDED: {watch.lost}"] if watch.lost else [])]
