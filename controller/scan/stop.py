"""The end that somebody asks for: a signal ends the run in order, a second one at once."""

import asyncio
import os
import signal
from collections.abc import Callable
from typing import Self

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)  # the last: its terminal was closed


class Stop:
    """
    Within `with`, on a running loop, it takes these signals; called, it says why to end.

    `what`: happens then, in words; `tell` takes it.
    """

    def __init__(self, tell: Callable[[str], None], what: str) -> None:
        self._tell, self._what, self._said = tell, what, ""

    def __call__(self) -> str:
        return self._said

    def __enter__(self) -> Self:
        self._loop = asyncio.get_running_loop()
        for number in SIGNALS:
            self._loop.add_signal_handler(number, self._taken, number)
        return self

    def __exit__(self, *_: object) -> None:
        for number in SIGNALS:
            self._loop.remove_signal_handler(number)

    def _taken(self, number: signal.Signals) -> None:
        if self._said:
            os._exit(128 + number)
        self._said = number.name
        self._tell(f"{number.name}: {self._what}")
