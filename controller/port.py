"""The I/O port: the one boundary between the controller and the world."""

from typing import Protocol

from controller.image import Inputs, Outputs

NEVER_MS = 86_400_000
"""Age of an image that must not be acted on: there was none yet, or its link was lost since. A day."""

ONLY_TELL = ("run_lamp", "fault_lamp", "horn")
"""Outputs that move and feed nothing; they may be on in a safe image."""


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

    1. `read` returns one image, whole: every input and its `io_life` from the same exchange, never of two.
    2. `image_age_ms` is never less than the truth: no input was taken longer ago. It is the greatest age that
       the image of the last `read` came to, so that no gap is lost between two scans. 0 in virtual time.
    3. An image that is not refreshed stays as it is and grows old. Before the first, inputs are the defaults
       of `Inputs` and NEVER_MS old. Points without a wire read as those defaults.
    4. `write` is taken whole, and the newest counts: the hardware never holds a mix of two writes.
    5. Neither call waits for the other end: both are over in far less than a scan, whatever it does.
    6. A link that was lost stays lost. A loss is: another link than that of the last image; an image, or a
       pause between two writes, older than the watchdog time, after which the hardware has dropped its
       outputs. Nothing that was written before goes out after it. Only safe values go out, `ONLY_TELL`
       excepted, and `image_age_ms` is NEVER_MS, until a safe image was written in answer: so the sequence
       trips, and its restart rule decides what comes next.
    7. Without `write` the outputs of the hardware drop to `Outputs()`, the safe values, within its watchdog
       time, by itself; after `close`, too.
    8. The life counter that remote hardware sees moves with each `write`, and only then.
    9. `close` may be called twice; `read` and `write` of a closed port raise `IoError`.
    """

    def read(self) -> Inputs: ...

    def write(self, outputs: Outputs) -> None: ...

    def close(self) -> None: ...


def is_safe(outputs: Outputs) -> bool:
    """Whether nothing but `ONLY_TELL` differs from the safe values."""
    return outputs == safe(outputs)


def safe(outputs: Outputs) -> Outputs:
    """The safe values, with lamps and horn as in `outputs`."""
    return Outputs(**{name: getattr(outputs, name) for name in ONLY_TELL})


class OutputGate:
    """
    Promise 6: shut when a link is lost, it lets only safe values through until a safe image comes by itself.

    It is shut to begin with.
    """

    def __init__(self) -> None:
        self.open = False

    def shut(self) -> None:
        """The link was lost."""
        self.open = False

    def passed(self, outputs: Outputs) -> Outputs:
        """What may go out of what the sequence wants."""
        self.open = self.open or is_safe(outputs)
        return outputs if self.open else safe(outputs)
