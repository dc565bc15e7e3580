"""The I/O port: the one boundary between the controller and the world."""

from typing import Protocol

from controller.image import Inputs, Outputs


class IoError(Exception):
    """
    The process image could not be exchanged in this scan.

    `retry` says whether the port tries again by itself in the next scan; if not, it is closed.
    """

    def __init__(self, what: str, *, after_ms: int, retry: bool) -> None:
        self.after_ms = after_ms
        self.retry = retry
        super().__init__(f"{what} after {after_ms} ms, {'tried again next scan' if retry else 'port closed'}")


class IoPort(Protocol):
    """
    Exchanges the whole process image, once each way in every scan.

    Every backend keeps these promises:

    - `read` returns one consistent snapshot, never a mix of two scans, with its age in `image_age_ms`.
    - `write` is taken whole: the next `read` sees all of it or none.
    - Neither call blocks longer than the scan period; past it they raise `IoError`.
    - After an `IoError`, and from `close` on, the hardware goes to `Outputs()`, the safe values, by itself.
    - `close` may be called twice; `read` and `write` of a closed port raise `IoError`.
    """

    def read(self) -> Inputs: ...

    def write(self, outputs: Outputs) -> None: ...

    def close(self) -> None: ...
