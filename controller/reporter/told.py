"""Whom the reporter tells of the station: a broker, a collector of figures; where services.yaml says so."""

import asyncio
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from os.path import relpath
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from controller.clock import Clock, machine_ms
from controller.records import Deed
from controller.reporter.lines import Opening
from controller.reporter.station import StationTold
from controller.reporting.services import Mqtt, Services
from controller.reporting.station_now import LinkNow

if TYPE_CHECKING:
    from controller.reporting.journal import Journal
    from controller.reporting.message_models import CommandAsked
    from controller.reporting.mqtt.publisher import Publisher

AGAIN_S = 30.0
"""After a mistake of ours in the publishing; a broker that is away is none."""


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
        self._publisher: Publisher | None = None
        self._said = ""

    def publish(self, publisher: "Publisher") -> None:
        """A broker is told too."""
        self._publisher, self._said = publisher, publisher.link.said

    def take(self, kind: str, values: Sequence[Any]) -> None:
        """A line of the rig that bears no record."""
        if kind == "answer" and self._asked:
            self._asked.answered(*values)
        elif self._station:
            self._station.take(kind, values)
            if self._publisher and self._station.is_known and kind != "figures":
                self._publisher.now(self._station.now, self._station.readings)

    @property
    def link(self) -> LinkNow | None:
        """How the publishing stands; None: there is none."""
        return self._publisher.link if self._publisher else None

    def news(self) -> str:
        """How it stands with the broker, where that is another than said before; else empty."""
        said = self.link.said if self.link else ""
        is_news, self._said = said != self._said, said
        return f"mqtt: {said}" if is_news else ""

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
    publishing = services.publishing or opening.broker
    if not (publishing or services.metrics.serve):
        return Told()
    station, asked = StationTold(opening, clock), Asked(rig.send)
    told = Told(station, asked)
    if publishing and journal:
        publisher = await _publisher(services, opening, station, asked, journal, rig, stack)
        told.publish(publisher)
        publishes = asyncio.create_task(_published(publisher, rig))
        stack.push_async_callback(_ended, publishes)
    if services.metrics.serve:
        from controller.reporter.metrics import serve

        try:
            await stack.enter_async_context(serve(services.metrics.port, opening, station, lambda: told.link))
        except OSError as error:
            msg = f"metrics: 127.0.0.1:{services.metrics.port} cannot be listened on: {error.strerror}; "
            raise ServiceError(msg + "set another port in services.yaml") from error
    return told


async def _publisher(
    services: Services,
    opening: Opening,
    station: StationTold,
    asked: Asked,
    journal: "Journal",
    rig: Rig,
    stack: AsyncExitStack,
) -> "Publisher":
    from controller.reporting.mqtt import embedded
    from controller.reporting.mqtt.about import About
    from controller.reporting.mqtt.publisher import Publisher

    folder, mqtt = Path(opening.station), services.publishing
    if opening.broker:
        mqtt = embedded.here(services.mqtt, folder)
        try:
            await stack.enter_async_context(embedded.broker(mqtt.port))
        except embedded.EmbeddedError as no:
            raise ServiceError(str(no)) from no
    assert mqtt is not None
    rig.send("say", _where(mqtt, opening.station))
    about = About(opening.name, opening.boot, opening.software, opening.io, opening.simulated, station.when)
    return Publisher(mqtt, folder, about, journal, asked.ask, rig.deed)


def _where(mqtt: Mqtt, station: str) -> str:
    broker = f"mqtt{'s' if mqtt.encryption else ''}://{mqtt.host}:{mqtt.port}"
    return f"telling {broker} as {mqtt.client_id}; watch with: receiver watch {relpath(station)}"


async def _published(publisher: "Publisher", rig: Rig) -> None:
    """A mistake in the publishing must not keep the journal from its work."""
    while True:
        try:
            await publisher.run()
        except Exception as error:
            rig.problem("mqtt", f"{type(error).__name__}: {error}")
            await asyncio.sleep(AGAIN_S)
        else:
            return


async def _ended(task: "asyncio.Task[None]") -> None:
    task.cancel()
    await asyncio.wait([task])
