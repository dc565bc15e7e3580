"""The watchdog of an I/O module: what its outputs are, whatever becomes of the controller."""

from controller.image import Outputs
from controller.modbus.exchange import Received


class Watchdog:
    """
    Holds the outputs that the controller wrote while its life counter moves.

    Where the counter stands still for `limit_ms`, whatever the reason, they drop to their safe values; what
    the controller writes with the next count acts again. What may be written after a loss is the
    controller's to know, as with any module.
    """

    def __init__(self, limit_ms: int) -> None:
        self.limit_ms = limit_ms
        self.held = Outputs()
        """What the outputs are now."""
        self.is_heard = False
        """A controller writes, and its life counter moves."""
        self._heard = (0, -1)  # session and life counter of the image that was taken last
        self._heard_ms = 0

    def look(self, written: Received | None, now_ms: int) -> bool:
        """
        Takes what the controller wrote; returns whether the outputs drop now.

        Args:
            written: Over the link that stands; None: nothing, or there is no link.
            now_ms: Of the room. A controller that is dead or cut off is so in real time, at whatever rate
                the plant lives.
        """
        if written and (written.session, written.life) != self._heard:
            self._heard, self._heard_ms = (written.session, written.life), now_ms
            commands = {name: bool(value) for name, value in written.values.items()}
            self.held, self.is_heard = Outputs(**commands), True
        elif self.is_heard and now_ms - self._heard_ms > self.limit_ms:
            self.held, self.is_heard = Outputs(), False
            return True
        return False
