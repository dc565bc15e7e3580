"""Remote I/O over Modbus TCP as an I/O port: the newest image of the wire, with its age."""

from controller.clock import Clock
from controller.image import Inputs, Outputs
from controller.modbus.health import Health
from controller.modbus.wire import Received, Wire
from controller.port import NEVER_MS, IoError, OutputGate, safe

LIFE_COUNTS = 65_536


class ModbusPort:
    """
    An `IoPort` over the controller's end of a wire, which runs beside the scan; whoever made it starts it.

    Call it from the loop that the wire runs on. A link that is new between two reads is a loss, however short
    the break; an exchange that failed on a link that stands only lets the image grow older, up to the
    watchdog time. The first link is no loss.
    """

    def __init__(self, wire: Wire, clock: Clock, watchdog_ms: int) -> None:
        """
        Lay the port on a wire.

        Args:
            wire: The controller's end.
            clock: The one that the wire tells the time of its images by.
            watchdog_ms: After so long without a sign of life the other end has dropped its outputs.
        """
        self._wire, self._clock, self._watchdog_ms = wire, clock, watchdog_ms
        self._gate = OutputGate()
        self._before: Received | None = None  # what the last read returned
        self._written_ms: int | None = None
        self._lost = False
        self._life = 0
        self._closed = False
        self._kinds = {name: type(first) for name, first in Inputs._field_defaults.items()}

    @property
    def health(self) -> Health:
        """How the link stands, for people."""
        return self._wire.health

    def read(self) -> Inputs:
        """As promised; never raises but when closed."""
        self._still_open()
        received = self._wire.newest
        if received is None:
            return Inputs(image_age_ms=NEVER_MS)
        age_ms = self._age_ms(received)
        if self._is_lost(received, age_ms):
            self._lost = True
            self._gate.shut()
        self._before = received
        values = {name: self._kinds[name](value) for name, value in received.values.items()}
        age_ms = NEVER_MS if self._lost else min(age_ms, NEVER_MS)
        return Inputs(**values)._replace(io_life=received.life, image_age_ms=age_ms)

    def _age_ms(self, received: Received) -> int:
        """The age of the image, or that which the one before came to."""
        began_ms = self._before.at_ms if self._before else received.at_ms
        return max(0, received.at_ms - began_ms, self._clock.now_ms() - received.at_ms)

    def _is_lost(self, received: Received, age_ms: int) -> bool:
        """Whether the link was lost since the last read."""
        new = self._before is not None and received.session != self._before.session
        return new or max(age_ms, self._silent_ms()) > self._watchdog_ms

    def _silent_ms(self) -> int:
        return 0 if self._written_ms is None else self._clock.now_ms() - self._written_ms

    def write(self, outputs: Outputs) -> None:
        """As promised; handed to the wire for the link that the last read was of."""
        self._still_open()
        if self._silent_ms() > self._watchdog_ms:  # the scan was held up between its read and here
            self._lost = True
            self._gate.shut()
            self._hand_over(safe(outputs))  # even if all were safe: the sequence is to be told first
            return
        self._hand_over(self._gate.passed(outputs))
        self._lost = self._lost and not self._gate.open

    def close(self) -> None:
        """As promised: safe values are handed over last; `shut`, or whoever made it, closes the wire."""
        if not self._closed:
            self._hand_over(Outputs())
            self._closed = True

    async def shut(self, timeout_s: float = 1.0) -> bool:
        """Close port and wire; whether the other end is known to have taken the safe values before."""
        self.close()
        try:
            return await self._wire.confirm(timeout_s)
        finally:
            await self._wire.close()

    def _hand_over(self, outputs: Outputs) -> None:
        self._life, self._written_ms = (self._life + 1) % LIFE_COUNTS, self._clock.now_ms()
        session = self._before.session if self._before else 0
        values = {name: int(value) for name, value in outputs._asdict().items()}
        self._wire.hand_over(values, self._life, session)

    def _still_open(self) -> None:
        if self._closed:
            raise IoError("the Modbus port is closed", after_ms=0, retry=False)  # noqa: EM101
