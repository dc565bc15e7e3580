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

ANSWER_S, BEGIN_S = 5.0, 4.0
"""For the rig to answer, which takes it a scan; and to begin: what is called failed must not act later."""
PLACE = "remote"
MOST_ANSWERS = 50
"""That wait for the broker."""

LONGEST_BACK = 256
"""Characters of a response topic, and bytes of correlation data."""

Ask = Callable[[CommandAsked, int], Awaitable[tuple[str, ...]]]
"""Hands a command to the rig, with the ms in which it may begin: why not, in words; empty: accepted."""


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
        back: str,
        ask: Ask,
        deed: Callable[[Deed], None],
        wake: Callable[[], None],
    ) -> None:
        """
        Made on the event loop that it works on.

        Args:
            when: Now.
            back: What a response topic of a sender has to begin with; empty: nobody is answered there.
            ask: The rig.
            deed: Takes down what is refused here.
            wake: There is an answer.
        """
        self._when, self._back = when, back
        self._ask, self._deed, self._wake = ask, deed, wake
        self.gate = Gate(lambda: WallClock().date(), asyncio.get_running_loop().time)
        self.answers: deque[Waiting] = deque(maxlen=MOST_ANSWERS)
        self._asking: set[asyncio.Task[None]] = set()

    def take(self, message: aiomqtt.Message) -> None:
        """A message on the topic of commands."""
        verdict = self.gate.judge(bytes(message.payload), retained=message.retain)
        topic, correlation = self._where(message.properties)
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
            left_ms = int(min(self.gate.left_s(asked), BEGIN_S) * 1_000)
            reasons = await asyncio.wait_for(self._ask(asked, left_ms), ANSWER_S)
        except TimeoutError:
            reasons = (f"no answer of the controller within {ANSWER_S:g} s: look at the state",)
        except Exception as error:  # of the host: whoever asked is told, and nobody else is held up
            reasons = (f"the controller cannot be asked: {error}",)
        answer = Answer(asked.id, asked.command, asked.operator, not reasons, reasons)
        self.gate.answered(asked, answer)
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

    def _where(self, properties: Any) -> tuple[str, bytes | None]:
        """Response topic and correlation data (5.0), where the station lets an answer go there."""
        topic = getattr(properties, "ResponseTopic", "") or ""
        correlation = getattr(properties, "CorrelationData", None)
        is_ours = topic.startswith((f"{ROOT}/", "$")) or not topic.isprintable() or set(topic) & set("+#")
        is_long = max(len(topic), len(correlation or b"")) > LONGEST_BACK
        if not self._back or not topic.startswith(self._back) or is_ours or is_long:
            return "", None
        return topic, correlation
