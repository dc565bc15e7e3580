"""One point, watched while somebody works on it: what it showed, and the hold or force on it renewed."""

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Lock, Thread

from controller.panel.client import Client
from controller.panel.live_points import age_text, raw_text, value_text
from controller.panel.messages import (
    Answer,
    CommandAsked,
    ForceAsked,
    HoldAsked,
    PointsAsked,
    ReleaseAsked,
)
from controller.panel.place import PanelError
from controller.panel.rig import PointNow, Status

BEAT_S = 0.2
MOST_CHANGES = 12
MOVED_UA = 800
"""A signal that moved by less may be noise or drift: 5 % of its span (common practice, no source)."""
UNTRUSTED = ("failed", "old", "unknown")
FEEDBACK = {
    "source_cmd": ("source_running_fb",),
    "flap_open_cmd": ("flap_closed_fb", "flap_open_fb"),
    "flap_close_cmd": ("flap_closed_fb", "flap_open_fb"),
}
"""The contacts that move with an output, where they are wired."""


class Watch:
    """Looks at one point with every `beat`; what is kept on it is renewed with the same beat."""

    def __init__(self, client: Client, name: str) -> None:
        self._client, self._lock, self.name = client, Lock(), name
        self._kept: HoldAsked | ForceAsked | None = None
        self._watched = (name, *FEEDBACK.get(name, ()))
        self._ranges: dict[str, list[int]] = {}  # of the watched: lowest and highest, none forced or bad
        self._raws: list[int] = []  # of a contact or output: each change; of a signal: lowest and highest
        self.beat_s = BEAT_S
        self.lost = ""  # why what was kept has ended by itself
        self.status: Status | None = None
        self.point = self._look()

    def beat(self) -> None:
        """
        One renewal and one look.

        Raises:
            PanelError: the connection broke.
        """
        with self._lock:
            if self._kept is not None:
                answer = self._put(self._kept)
                if answer.answer != "accepted":
                    self._kept, self.lost = None, "; ".join(answer.reasons)
            self.point = self._look()

    def keep(self, asked: HoldAsked | ForceAsked) -> Answer:
        """Holds or forces until `let_go`, renewed with each beat."""
        self.let_go()
        with self._lock:
            answer = self._put(asked)
            self._kept = asked if answer.answer == "accepted" else None
            self.lost = ""
        return answer

    def let_go(self) -> None:
        """What is kept ends."""
        with self._lock:
            if self._kept is not None:
                self._kept = None
                self._client.ask(ReleaseAsked(ask="release"))

    def command(self, word: str, on_behalf_of: str) -> Answer:
        """A command to the sequence."""
        with self._lock:
            return self._client.ask(CommandAsked(ask="command", command=word, on_behalf_of=on_behalf_of))

    def unmoved(self) -> tuple[str, ...]:
        """The point, and the feedback of an output, as far as not both of its states were seen."""
        least = MOVED_UA if self.point.kind == "4-20 mA" else 1
        return tuple(name for name, seen in self._ranges.items() if not seen or seen[1] - seen[0] < least)

    def seen(self) -> str:
        """What its wire showed since it is watched: every change, or lowest, highest and the last value."""
        shown = [self._text(raw) for raw in self._raws]
        if self.point.kind != "4-20 mA":
            return ", ".join(shown)
        return f"{' to '.join(shown)}, now {value_text(self.point)}"

    def _put(self, asked: HoldAsked | ForceAsked) -> Answer:
        answer = self._client.ask(asked)
        self.beat_s = min(BEAT_S, answer.renew_ms / 1_000)
        return answer

    def _look(self) -> PointNow:
        answer = self._client.ask(PointsAsked(ask="points"))
        found = next((p for p in answer.points or () if p.name == self.name), None)
        if found is None:
            msg = f"{self.name}: the rig no longer tells of it: {'; '.join(answer.reasons)}"
            raise PanelError(msg)
        self.status = answer.status
        for point in answer.points or ():
            if point.name in self._watched:
                self._note(point)
        wire = found.wire if found.forced else found.raw  # what is forced was not seen
        if wire is None:
            return found
        if found.kind == "4-20 mA":
            self._raws = sorted({min([*self._raws, wire]), max([*self._raws, wire])})
        elif self._raws[-1:] != [wire] and len(self._raws) < MOST_CHANGES:
            self._raws.append(wire)
        return found

    def _note(self, point: PointNow) -> None:
        seen = self._ranges.setdefault(point.name, [])
        if not point.forced and point.quality not in UNTRUSTED:
            self._ranges[point.name] = [min([*seen, point.raw]), max([*seen, point.raw])]

    def _text(self, raw: int) -> str:
        return raw_text(self.point.model_copy(update={"raw": raw}))


@contextmanager
def beating(watch: Watch) -> Iterator[None]:
    """Beats in a thread of its own while somebody is asked; ends, and lets go, with the block."""
    ended = Event()

    def beat() -> None:
        while not ended.wait(watch.beat_s):
            try:
                watch.beat()
            except PanelError as error:
                watch.lost = str(error)
                return

    thread = Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
        watch.let_go()


def now(point: PointNow) -> str:
    """A point as it is now, in one line."""
    parts = (raw_text(point), value_text(point), point.quality, f"age {age_text(point)}")
    return ", ".join(part for part in parts if part) + (", FORCED" if point.forced else "")
