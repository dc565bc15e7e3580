"""Commands that come over the broker: judged, asked of the rig, answered."""

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from typing import Any, NamedTuple

import aiomqtt

from controller.clock import WallClock
from controller.records import Deed
from controller.reporting.message_models import CommandAsked
from controller.reporting.messages import ROOT, Answer
from controller.reporting.mqtt.gate import Gate, Refused

ANSWER_S = 5.0
"""For the rig, which answers within a scan."""
PLACE = "remote"
MOST_ANSWERS = 50
"""That wait for the broker."""

Ask = Callable[[CommandAsked], Awaitable[tuple[str, ...]]]
"""Hands a command to the rig: why not, in words; empty: accepted. It must not be done after `expires_at`."""


class Waiting(NamedTuple):
    """An answer, and where its sender wants it besides (5.0)."""

    answer: Answer
    topic: str
    correlation: bytes | None


class Remote:
    """The commands of one publisher."""

    def __init__(
        self,
        when: Callable[[], tuple[str, int]],
        ask: Ask,
        deed: Callable[[Deed], None],
        wake: Callable[[], None],
    ) -> None:
        """`wake`: there is an answer. Made on the event loop that it works on."""
        self._when, self._ask, self._deed, self._wake = when, ask, deed, wake
        self.gate = Gate(lambda: WallClock().date(), asyncio.get_running_loop().time)
        self.answers: deque[Waiting] = deque(maxlen=MOST_ANSWERS)
        self._asking: set[asyncio.Task[None]] = set()

    def take(self, message: aiomqtt.Message) -> None:
        """A message on the topic of commands."""
        verdict = self.gate.judge(bytes(message.payload), retained=message.retain)
        topic, correlation = _back(message.properties)
        if isinstance(verdict, CommandAsked):
            task = asyncio.create_task(self._do(verdict, topic, correlation))
            self._asking.add(task)
            task.add_done_callback(self._asking.discard)
        elif isinstance(verdict, Refused):
            self._write_down(verdict)
            self._say(Waiting(verdict.answer, topic, correlation))
        elif isinstance(verdict, Answer):
            self._say(Waiting(verdict, topic, correlation))

    def close(self) -> None:
        """Nobody waits for the rig any more."""
        for task in self._asking:
            task.cancel()

    async def _do(self, asked: CommandAsked, topic: str, correlation: bytes | None) -> None:
        try:
            reasons = await asyncio.wait_for(self._ask(asked), ANSWER_S)
        except TimeoutError:
            reasons = (f"no answer of the controller within {ANSWER_S:g} s: look at the state",)
        except Exception as error:  # of the host: whoever asked is told, and nobody else is held up
            reasons = (f"the controller cannot be asked: {error}",)
        answer = Answer(asked.id, asked.command, asked.operator, not reasons, reasons)
        self.gate.answered(answer)
        self._say(Waiting(answer, topic, correlation))

    def _say(self, waiting: Waiting) -> None:
        self.answers.append(waiting)
        self._wake()

    def _write_down(self, refused: Refused) -> None:
        """What never reached the rig; what did is written down there."""
        answer, asked = refused
        utc, at_ms = self._when()
        given = {"id": answer.id, "issued_at": asked.issued_at} if asked else {"id": answer.id}
        self._deed(
            Deed(at_ms, utc, answer.operator, PLACE, answer.command, given, "refused", tuple(answer.reasons))
        )


def _back(properties: Any) -> tuple[str, bytes | None]:
    """Response topic, if it is not one that a receiver itself publishes under, and correlation data."""
    topic = getattr(properties, "ResponseTopic", "") or ""
    if topic.startswith((f"{ROOT}/", "$")) or set(topic) & set("+#\0"):
        topic = ""
    return topic, getattr(properties, "CorrelationData", None)
