"""Whom the reporter tells of the station: a broker, a collector of figures; where services.yaml says so."""

import asyncio
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from os.path import relpath
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from controller.clock import Clock, machine_ms
from controller.records import Deed, printable
from controller.reporter.lines import Opening
from controller.reporter.station import StationTold
from controller.reporting.journal_file import GUEST, JournalError
from controller.reporting.services import Mqtt, Services
from controller.reporting.station_now import LinkNow

if TYPE_CHECKING:
    from controller.reporting.journal import Journal
    from controller.reporting.message_models import CommandAsked
    from controller.reporting.mqtt.publisher import Publisher

SILENT_BEATS = 3
"""A rig speaks ten times a second: one that says nothing over so many beats is frozen, or hangs in a scan."""


class ServiceError(Exception):
    """Something that services.yaml asks for cannot be had; says what and why."""


class Rig(Protocol):
    """What is needed of the connection to the rig."""

    def send(self, kind: str, *values: object) -> None:
        """A line to the rig."""

    def deed(self, deed: Deed) -> None:
        """A deed that the rig knows nothing of."""

    def problem(self, of: str, said: str) -> None:
        """Told once; empty: it is over."""


class Asked:
    """Commands from elsewhere, on their way to the rig and back."""

    def __init__(self, send: Callable[..., None]) -> None:
        self._send = send
        self._number = machine_ms()  # over all that a reporter before this one has asked
        self._waiting: dict[int, asyncio.Future[tuple[str, ...]]] = {}
        self._closed = ""

    async def ask(self, asked: "CommandAsked", left_ms: int) -> tuple[str, ...]:
        """Gives it to the rig, which does it within so long, or only if it stops. Empty: accepted."""
        if self._closed:
            return (self._closed,)
        self._number = number = self._number + 1
        answer: asyncio.Future[tuple[str, ...]] = asyncio.get_running_loop().create_future()
        self._waiting[number] = answer
        end_ms = machine_ms() + left_ms
        self._send("ask", number, asked.command, asked.operator, end_ms, asked.id)
        try:
            return await answer
        finally:
            self._waiting.pop(number, None)

    def answered(self, number: int, reasons: Sequence[str]) -> None:
        """The rig says what became of it."""
        answer = self._waiting.get(number)
        if answer and not answer.done():
            answer.set_result(tuple(reasons))

    def close(self, why: str) -> None:
        """No answer comes any more."""
        self._closed = why
        for number in list(self._waiting):
            self.answered(number, (why,))


class Told:
    """Whom the reporter tells; made without anything it tells nobody."""

    def __init__(self, station: StationTold | None = None, asked: Asked | None = None) -> None:
        self._station, self._asked = station, asked
        self._make: Callable[[], Publisher | None] | None = None
        self._publisher: Publisher | None = None
        self._silent_beats, self._quiet = SILENT_BEATS, 0
        self._said = self._where = ""
        self._unheard = 0

    def publish(self, make: Callable[[], "Publisher | None"], opening: Opening) -> None:
        """A broker is told too, as soon as the rig has said where it stands: then `make` gives by whom."""
        self._make = make
        self._silent_beats = round(SILENT_BEATS / min(opening.rate, 1.0))
        self._where = f"wait in {opening.run}" if _is_kept(opening) else "are told by no later start"

    def take(self, kind: str, values: Sequence[Any]) -> None:
        """A line of the rig that bears no record."""
        if kind == "answer" and self._asked:
            self._asked.answered(*values)
        elif self._station:
            self._station.take(kind, values)
            if self._station.is_known and kind != "figures":
                self._tell(self._station, silent=False)
            self._quiet = 0

    def beat(self) -> None:
        """Between two of these a rig has spoken, or it counts as one that is silent."""
        self._quiet += 1
        if self._quiet == self._silent_beats and self._station and self._station.is_known:
            self._station.silent()
            self._tell(self._station, silent=True)

    def _tell(self, station: StationTold, *, silent: bool) -> None:
        if self._make and (publisher := self._make()):
            self._make, self._publisher, self._said = None, publisher, publisher.link.said
        if self._publisher:
            self._publisher.now(station.now, station.readings, silent=silent)

    @property
    def link(self) -> LinkNow | None:
        """How the publishing stands; None: there is none."""
        return self._publisher.link if self._publisher else None

    def news(self) -> str:
        """How it stands with the broker, where that is another than said before; else empty."""
        said = self.link.said if self.link else ""
        is_news, self._said = said != self._said, said
        waiting, unheard = (self.link.waiting, self.link.commands_unheard) if self.link else (0, 0)
        if not is_news and unheard > 2 * self._unheard:  # a flood is said a few times, not each of it
            self._unheard = unheard
            why = "no id, too large, too many or not taken: see watch"
            return f"mqtt: commands without an answer: {unheard}; {why}"
        return f"mqtt: {said}{f'; {waiting} events and cycles wait' if waiting else ''}" if is_news else ""

    def left(self) -> str:
        """At the end: what the broker has not taken; empty: nothing."""
        waiting = self.link.waiting if self.link else 0
        return f"mqtt: {waiting} events and cycles {self._where}" if waiting else ""

    def wrote(self) -> None:
        """The journal has new lines."""
        if self._publisher:
            self._publisher.wrote()

    async def leave(self, said: str, within_s: float) -> None:
        """The rig has ended: whoever is told is told that."""
        if self._asked:
            self._asked.close(said)
        if self._publisher:
            await self._publisher.leave(said, within_s)


async def told_by(
    services: Services,
    opening: Opening,
    clock: Clock,
    journal: "Journal | None",
    rig: Rig,
    stack: AsyncExitStack,
) -> Told:
    """
    All that services.yaml asks for, open until the stack ends.

    Raises:
        StationError: The points of the station cannot be read.
        ServiceError: Something cannot be had.
    """
    mqtt = services.publishing
    if not (mqtt or services.metrics.serve):
        return Told()
    station, asked = StationTold(opening, clock), Asked(rig.send)
    told = Told(station, asked)
    if mqtt and journal:
        if opening.broker:
            await _broker(mqtt.port, stack)
        rig.send("say", _where(mqtt, opening.station))
        told.publish(_publishing(mqtt, opening, station, asked, journal, rig, stack), opening)
    if services.metrics.serve:
        from controller.reporter.metrics import serve

        try:
            await stack.enter_async_context(serve(services.metrics.port, opening, station, lambda: told.link))
        except OSError as error:
            msg = f"metrics: 127.0.0.1:{services.metrics.port} cannot be listened on: {error.strerror}; "
            raise ServiceError(msg + "set another port in services.yaml") from error
    return told


def reader_of(opening: Opening) -> str:
    """Under which name the journal keeps what was told: a broker of its own keeps nothing itself."""
    from controller.reporting.mqtt.about import READER

    return GUEST if opening.broker else READER


async def _broker(port: int, stack: AsyncExitStack) -> None:
    from controller.reporting.mqtt import embedded

    try:
        await stack.enter_async_context(embedded.broker(port))
    except embedded.EmbeddedError as no:
        raise ServiceError(str(no)) from no


def _publishing(
    mqtt: Mqtt,
    opening: Opening,
    station: StationTold,
    asked: Asked,
    journal: "Journal",
    rig: Rig,
    stack: AsyncExitStack,
) -> "Callable[[], Publisher | None]":
    """What makes a publisher that runs until the stack ends; None: the journal cannot be read now."""
    from controller.reporting.mqtt.about import About
    from controller.reporting.mqtt.publisher import Publisher

    about = About(
        opening.name, opening.boot, opening.software, opening.io, opening.simulated, station.when,
        frozenset(opening.fitted), reader_of(opening),
    )  # fmt: skip

    def refused(deed: Deed) -> None:
        rig.deed(deed)
        given = f"{deed.parameters['id']}: {deed.command or 'no command'} by {deed.who or 'nobody'}"
        rig.send("say", printable(f"mqtt: {given} refused: {'; '.join(deed.reasons)}"))

    def make() -> "Publisher | None":
        try:
            publisher = Publisher(mqtt, Path(opening.station), about, journal, asked.ask, refused)
        except JournalError as error:
            rig.problem("mqtt", str(error))
            return None
        rig.problem("mqtt", "")
        stack.push_async_callback(_ended, asyncio.create_task(publisher.run()))
        return publisher

    return make


def _is_kept(opening: Opening) -> bool:
    return opening.kept and not opening.broker


def _where(mqtt: Mqtt, station: str) -> str:
    broker = f"mqtt{'s' if mqtt.encryption else ''}://{mqtt.host}:{mqtt.port}"
    return f"telling {broker} as {mqtt.client_id}; watch with: receiver watch {relpath(station)}"


async def _ended(task: "asyncio.Task[None]") -> None:
    task.cancel()
    await asyncio.wait([task])
