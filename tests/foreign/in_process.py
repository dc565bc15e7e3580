"""The foreign controller at the other end of a link in this process: virtual time, so that many runs take seconds."""

from collections.abc import Mapping

from foreign.box import Box
from foreign.fake_client import FakeClient

from controller.modbus.exchange import Received

PASS_MS = 20


class InProcessEnd:
    """The plant's end; time passes in `wait_until` alone, and the box makes a pass every 20 ms of it."""

    said = ""

    def __init__(self, mistake: str = "") -> None:
        self.client = FakeClient()
        self.box = Box(self.client, mistake)
        self._now_ms, self._dropped = 0, False

    def now_ms(self) -> int:
        return self._now_ms

    @property
    def newest(self) -> Received | None:
        if self._dropped or not self.client.outputs:
            return None
        return Received(self.client.outputs, self.client.controller_life, self._now_ms, 1)

    def hand_over(self, values: Mapping[str, int], life: int) -> None:
        self.client.inputs, self.client.life = values, life

    def wait_until(self, due_ms: int, silent: bool) -> None:
        self.client.link = not silent and not self._dropped
        while self._now_ms < due_ms:
            self._now_ms += 10
            if self._now_ms % PASS_MS == 0:
                self.box.scan(self._now_ms / 1_000)

    def drop(self) -> None:
        self._dropped = True

    def take_up(self) -> None:
        self._dropped = False

    def close(self) -> None:
        self._dropped = True
