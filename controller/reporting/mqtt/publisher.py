"""
Tells a broker of a receiver for as long as it runs: connects, talks, comes back when the connection is lost.

Whatever the broker does, nobody waits for this, and nothing that goes wrong here reaches the host.
"""

import asyncio
import os
import random
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from controller.records import Deed
from controller.reporting.mqtt.about import About
from controller.reporting.mqtt.connection import ANSWER_S, Connection
from controller.reporting.mqtt.conversation import Conversation, now_s, woken
from controller.reporting.mqtt.lines import Outbox
from controller.reporting.mqtt.reasons import why
from controller.reporting.mqtt.remote import Ask, Remote
from controller.reporting.secret import password
from controller.reporting.services import Mqtt
from controller.reporting.station_now import LinkNow, Reading, StationNow

FAREWELL_S = 1.0
"""Of the time to leave, for the farewell itself."""


class Backoff(NamedTuple):
    """How long until the next attempt, in seconds: doubled each time, by chance down to half of it."""

    first_s: float = 0.1
    longest_s: float = 30.0
    steady_s: float = 5.0  # connected for so long, it begins anew


BACKOFF = Backoff()


class Publisher:
    """
    One receiver at one broker. `run` in a task; all else at any time, on the same event loop.

    The journal is used on that loop too, and was opened with `About.reader` among its readers.
    """

    def __init__(
        self,
        mqtt: Mqtt,
        folder: Path,
        about: About,
        journal: Outbox,
        ask: Ask,
        deed: Callable[[Deed], None],
        backoff: Backoff = BACKOFF,
    ) -> None:
        """
        Nothing is sent yet. Made on the event loop that it works on.

        Args:
            mqtt: Where, and how.
            folder: Of the station, the start of relative paths.
            about: Who publishes.
            journal: What is told in order, and marked as told.
            ask: Hands a command to the rig.
            deed: Writes down a command that was refused here.
            backoff: After a lost connection.

        Raises:
            JournalError: The journal cannot be read.
        """
        self._mqtt, self._folder, self._backoff = mqtt, folder, backoff
        self._conversation = Conversation(mqtt, about, journal)
        if mqtt.commands == "allowed":
            self._conversation.remote = Remote(about.when, mqtt.answer_prefix, ask, deed, self.wrote)
        self._connection: Connection | None = None
        self._leaving, self._ended = asyncio.Event(), asyncio.Event()

    def now(self, now: StationNow, readings: Sequence[Reading], *, silent: bool = False) -> None:
        """
        Where the station stands, and all its wired points; as often as there is something new.

        `silent`: nothing has come from its controller for some time, so it is told as offline.
        """
        self._conversation.now(now, readings, silent=silent)

    def wrote(self) -> None:
        """The journal has new lines on the disk."""
        self._conversation.wake.set()

    @property
    def link(self) -> LinkNow:
        """What this side says of itself."""
        return self._conversation.link

    async def leave(self, said: str, within_s: float) -> None:
        """Tells what waits, then `offline` with this word, and ends `run`; never longer than `within_s`."""
        self._conversation.end(said, now_s() + max(within_s - FAREWELL_S, within_s / 2))
        self._leaving.set()
        await woken(self._ended, within_s)
        if self._connection:
            self._connection.cut()

    async def run(self) -> None:
        """Until `leave`. Raises nothing; what is wrong is said in `link`."""
        delay_s = self._backoff.first_s
        try:
            while not self._leaving.is_set():
                try:
                    await self._attempt()
                except Exception as error:  # whatever it is, it is said, and the host goes on
                    self._conversation.said = why(error, self._mqtt, ANSWER_S)
                if self._conversation.lasted_s > self._backoff.steady_s:
                    delay_s = self._backoff.first_s
                await woken(self._leaving, delay_s * random.uniform(0.5, 1))
                delay_s = min(delay_s * 2, self._backoff.longest_s)
        finally:
            if self._conversation.remote:
                self._conversation.remote.close()
            self._ended.set()

    async def _attempt(self) -> None:
        """One connection, from its beginning to its end."""
        self._conversation.lasted_s = 0.0
        secret = password(self._mqtt, self._folder, os.environ)
        self._connection = connection = Connection(
            self._mqtt, self._folder, secret, client_id=self._mqtt.client_id, will=self._conversation.will()
        )
        try:
            await connection.open()
            await self._conversation.talk(connection)
            await connection.close()
        finally:  # unless it was closed: without a farewell, so that the broker tells that it was lost
            connection.cut()
            self._connection = None
