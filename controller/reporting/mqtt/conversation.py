"""
What is said and heard over a connection. It outlives the connection: the next one goes on with it.

States and tags are kept as the newest only; lines of the journal wait there. So nothing grows while the
broker is away, frozen or slow.
"""

import asyncio
from collections.abc import Collection, Sequence
from contextlib import suppress

from pydantic_core import from_json

from controller.reporting import messages
from controller.reporting.journal import JournalError
from controller.reporting.messages import Message, Topics
from controller.reporting.mqtt.about import About, Heads
from controller.reporting.mqtt.connection import LARGEST_BYTES, Connection
from controller.reporting.mqtt.lines import Lines, Outbox
from controller.reporting.mqtt.reasons import NotTakenError
from controller.reporting.mqtt.remote import Remote
from controller.reporting.mqtt.tags import Tags
from controller.reporting.services import Mqtt
from controller.reporting.station_now import LinkNow, Reading, StationNow

STATUS_S = 10.0
"""A status whose figures have changed is told so often."""
AGAIN_S = 1.0
"""Somebody else's word on our status is put right so often."""
REFUSED_AGAIN_S = 10.0
"""What the broker does not take is tried so often; all else is told meanwhile."""
MARK_S = 1.0
"""What was told goes to the disk so often: a mark that is lost is only told again."""
STALE_S = 60
"""A tag, and an answer to a topic of its sender's, is of no use after that (5.0)."""
CANCEL_AGAIN_S = 0.1
NEVER = float("inf")
LOST = "the connection was lost"
SILENT = "the controller is silent"
LINES = "lines of the journal"


class Conversation:
    """`talk` on one connection after the other; all else at any time, on the same event loop."""

    def __init__(self, mqtt: Mqtt, about: About, journal: Outbox) -> None:
        """Raises JournalError: the journal cannot be read."""
        self.wake = asyncio.Event()
        self.remote: Remote | None = None
        """Set where commands are taken."""
        self.said = "not connected yet"
        """How it stands with the broker, in words."""
        self.born_s = NEVER
        """Since when it is talked; NEVER: it is not."""
        self.lasted_s = 0.0
        """How long the last attempt's talk was."""
        self._mqtt, self._about = mqtt, about
        self._topics, self._heads = Topics(mqtt.site, mqtt.unit), Heads(about)
        self._lines = Lines(self._topics, about, journal)
        self._tags = Tags(mqtt.tag_floor_ms / 1_000, mqtt.tag_deadband_percent)
        self._state: tuple[StationNow, Sequence[Reading], tuple[str, int]] | None = None
        self._state_told = self._alarms_told = False
        self._link_told: LinkNow | None = None
        self._another = self._deaf = ""
        self._silent = False
        self._telling = ""  # what is on its way
        self._refused: dict[str, tuple[str, float]] = {}  # why it was not taken, and when it is tried again
        self._status_told_s = 0.0
        self._status_due_s = self._mark_due_s = NEVER
        self._farewell, self._until_s = "", NEVER

    def now(self, now: StationNow, readings: Sequence[Reading], *, silent: bool = False) -> None:
        """Where the station stands, and all its wired points; or stood, where its controller is silent."""
        if silent != self._silent:
            self._silent, self._status_due_s = silent, now_s()
        when = self._about.when()
        if self._state is None or _stands(now, readings) != _stands(*self._state[:2]):
            self._state, self._state_told = (now, tuple(readings), when), False
            self._heads.forced = bool(now.forced or now.failures)
        self._tags.put(readings, when, now_s())
        self.wake.set()

    def end(self, farewell: str, until_s: float) -> None:
        """Tells what waits, for so long at most, and then this word."""
        self._farewell, self._until_s = farewell, until_s
        self.wake.set()

    @property
    def link(self) -> LinkNow:
        """What this side says of itself."""
        refused = (f"{what}: not taken: {no}" for what, (no, _) in self._refused.items())
        said = SILENT if self._silent else self.said
        said = "; ".join(filter(None, (said, *refused, self._deaf, self._another, self._lines.wrong)))
        return LinkNow(
            self.born_s < NEVER, said, self._about.software, self._about.io, self._mqtt.commands,
            self._lines.waiting, self._tags.dropped, self._lines.removed,
            self.remote.gate.unheard if self.remote else 0,
        )  # fmt: skip

    def will(self) -> Message:
        """What the broker tells when the connection is lost."""
        return self._status(online=False, said=LOST)

    async def talk(self, connection: Connection) -> None:
        """Until the end that `end` asked for. Raises as `Connection.tell`."""
        telling, listening = (asyncio.create_task(work(connection)) for work in (self._tell, self._listen))
        both = (telling, listening)
        try:
            await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
            for task in both:  # why nothing more is told says more than that the connection is lost
                if task.done():
                    task.result()
        finally:
            await stopped(both)
            if connection.refusal:  # some brokers hang up on who may not do that, and this would not be seen
                self._not_taken(NotTakenError(connection.refusal))
            self.lasted_s, self.born_s = max(now_s() - self.born_s, 0.0), NEVER

    # ---- told ------------------------------------------------------------------------------------------
    async def _birth(self, connection: Connection) -> None:
        is_news = not self.said.startswith(("connected", "not connected"))
        self.said = f"connected; before that: {self.said}" if is_news else "connected"
        self.born_s = now_s()
        self._tags.again()
        await self._tell_status(connection)
        self._state_told = self._alarms_told = False
        await self._tell_state(connection)

    async def _tell(self, connection: Connection) -> None:
        await self._subscribe(connection)
        await self._birth(connection)
        while not self._farewell or (self._lines.waiting and now_s() < self._until_s):
            self.wake.clear()
            told_lines = await self._tell_lines(connection)
            await self._tell_answers(connection)
            await self._tell_state(connection)
            await self._tell_tags(connection)
            await self._look_after(connection)
            if not told_lines:
                await woken(self.wake, self._next_s() - now_s())
        self._mark()
        await connection.tell([self._status(online=False, said=self._farewell)])

    async def _tell_lines(self, connection: Connection) -> bool:
        """The next lines of the journal; whether any were told."""
        try:
            lines = self._lines.next()
        except JournalError as error:  # the next commit wakes us
            self._refused[LINES] = str(error), now_s()
            return False
        if not lines:  # it can be read again
            self._refused.pop(LINES, None)
            return False
        told = [message for line in lines for message in line.messages]
        if not await self._is_taken(connection, LINES, told):
            return False
        self._lines.told()
        self._mark_due_s = min(self._mark_due_s, now_s() + MARK_S)
        return True

    async def _is_taken(self, connection: Connection, what: str, told: Sequence[Message]) -> bool:
        """Tells it; what the broker does not take waits, and holds nothing else up."""
        return now_s() >= self._refused.get(what, ("", 0.0))[1] and await self._took(connection, what, told)

    async def _took(
        self, connection: Connection, what: str, told: Sequence[Message], **properties: object
    ) -> bool:
        self._telling = what
        try:
            await connection.tell(told, **properties)
        except NotTakenError as no:
            connection.refusal = None
            self._not_taken(no)
            return False
        self._refused.pop(what, None)
        return True

    def _not_taken(self, no: NotTakenError) -> None:
        self._refused[self._telling] = str(no), now_s() + REFUSED_AGAIN_S
        self._status_due_s = now_s()

    async def _tell_answers(self, connection: Connection) -> None:
        while self.remote and self.remote.answers:
            waiting = self.remote.answers.popleft()  # one that is lost is asked for by the same command again
            message = messages.answer(self._topics, self._heads.head("answer"), waiting.answer)
            took = await self._took(connection, "answers", [message])
            if waiting.topic and connection.is_v5:
                there = [message._replace(topic=waiting.topic)]
                took &= await self._took(
                    connection, "answers where their sender wants them", there,
                    CorrelationData=waiting.correlation, MessageExpiryInterval=STALE_S,
                )  # fmt: skip
            if not took:  # not kept for later, and no pause: the next one may go to another topic
                self.remote.gate.unheard += 1

    async def _tell_state(self, connection: Connection) -> None:
        if self._state and not self._state_told:
            self._state_told = True  # a newer one may come meanwhile
            now, readings, when = self._state
            state = messages.state(self._topics, self._heads.head("state", when), now, readings)
            if not await self._is_taken(connection, "the state", [state]):
                self._state_told = False
        if not self._alarms_told:
            self._alarms_told = await self._is_taken(connection, "alarms", self._lines.alarms())

    async def _tell_tags(self, connection: Connection) -> None:
        for seen in self._tags.take(now_s()):
            message = messages.tag(self._topics, self._heads.head("tag", seen.when), seen.reading)
            await connection.tell_one(message, MessageExpiryInterval=STALE_S)

    async def _tell_status(self, connection: Connection) -> None:
        self._status_told_s = now_s()
        self._status_due_s = self._status_told_s + STATUS_S
        self._link_told = self.link
        await self._is_taken(connection, "the status", [self._status(online=not self._silent)])

    def _next_s(self) -> float:
        again_s = (at_s for _, at_s in self._refused.values() if at_s > now_s())
        return min(self._tags.next_s(), self._status_due_s, self._mark_due_s, self._until_s, *again_s)

    async def _look_after(self, connection: Connection) -> None:
        """What has to be done now and then."""
        if now_s() >= self._mark_due_s:
            self._mark()
        if now_s() >= self._status_due_s:
            if self._link_told is None:  # somebody else spoke for us, perhaps on more than the status
                self._state_told = self._alarms_told = False
                self.wake.set()
            if self.link != self._link_told:
                await self._tell_status(connection)
            self._status_due_s = now_s() + STATUS_S

    def _mark(self) -> None:
        self._mark_due_s = NEVER
        with suppress(JournalError):  # a full disk: the mark goes with a later commit
            self._lines.written()

    def _status(self, *, online: bool, said: str = "") -> Message:
        link = self.link
        link = link._replace(online=online, said=said or link.said)
        return messages.status(self._topics, self._heads.head("status"), link)

    # ---- heard -----------------------------------------------------------------------------------------
    async def _subscribe(self, connection: Connection) -> None:
        """Before the birth, so that nothing is missed after it."""
        self._deaf = ""
        for kind in ("status", "command") if self.remote else ("status",):
            try:
                await connection.hear(self._topics.of(kind), as_published=kind == "command")
            except NotTakenError as no:
                self._deaf = f"{self._topics.of(kind)} is not heard: {no}"

    async def _listen(self, connection: Connection) -> None:
        async for message in connection.messages:
            topic = str(message.topic)
            if self.remote and topic == self._topics.of("command"):
                self.remote.take(message)
            elif topic == self._topics.of("status") and not message.retain:
                self._look_at_status(bytes(message.payload))

    def _look_at_status(self, payload: bytes) -> None:
        """
        Ours is what has to stand there.

        A frozen twin, an older start of this receiver, may come back to life and end: the broker then tells
        its will, and everybody would take the one that runs for gone.
        """
        try:
            found = from_json(payload[:LARGEST_BYTES])
            boot, online = found["boot"], found["online"]
        except (ValueError, TypeError, KeyError):
            boot, online = "", False
        if online is True and boot != self._about.boot:
            self._another = "another receiver publishes under the same site and unit"
        elif online is not True and not self._silent:
            self._another = ""
            self._link_told = None
            self._status_due_s = max(now_s(), self._status_told_s + AGAIN_S)
            self.wake.set()


def now_s() -> float:
    """Seconds of the event loop."""
    return asyncio.get_running_loop().time()


async def woken(event: asyncio.Event, within_s: float) -> None:
    """Waits for it, for so long at most."""
    with suppress(TimeoutError):
        async with asyncio.timeout(max(within_s, 0.0) if within_s < NEVER else None):
            await event.wait()


async def stopped(tasks: Collection[asyncio.Task[None]]) -> None:
    """
    Cancels them and waits for their end.

    More than once: the library waits with `asyncio.wait_for`, which in Python 3.11 loses a cancellation that
    comes in the same moment as what was waited for.
    """
    while pending := [task for task in tasks if not task.done()]:
        for task in pending:
            task.cancel()
        await asyncio.wait(pending, timeout=CANCEL_AGAIN_S)
    await asyncio.gather(*tasks, return_exceptions=True)  # looked at, all of them


def _stands(now: StationNow, readings: Sequence[Reading]) -> tuple[object, ...]:
    """What a state is made of: a reading's value alone moves nothing in it."""
    return now, tuple((reading.tag, reading.signal, reading.forced) for reading in readings)
