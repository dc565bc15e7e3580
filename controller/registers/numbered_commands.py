"""
Which of the commands that a client writes count: each bears a number, and a repeated write does nothing.

A number counts if it comes after the newest one of that client, in the arithmetic of RFC 1982 (16 bits), so
that what was delayed on an old connection is not done after what came later. The first number of a client is
a mark only: a program that writes the same for ever starts nothing when the controller or the network
returns. Stop, halt and acknowledge are heard with any number.
"""

from typing import NamedTuple

from controller.modbus.answers import BUSY, ILLEGAL_VALUE, RefusedError
from controller.registers import numbers
from controller.registers.now import Asked

HEARD_ALWAYS = ("stop", "halt", "acknowledge")
AT_ONCE = ("stop", "halt")
"""These do not wait for the answer to another."""
CLIENTS_MAX = 64

_NAMES = {number: name for name, number in numbers.COMMANDS.items()}
_WAITING, _ACCEPTED, _REFUSED = (numbers.ANSWERS[word] for word in ("waiting", "accepted", "refused"))


class Heard(NamedTuple):
    """A command that counts."""

    client: str
    number: int
    command: str
    only_mark: bool  # its number is the first of this client, and it is none that is always heard


class NumberedCommands:
    """The newest number and answer of each client, known by its address."""

    def __init__(self) -> None:
        self._asked: dict[str, Asked] = {}

    def of(self, client: str) -> Asked:
        """What this client asked last."""
        return self._asked.get(client, Asked())

    def write(self, client: str, number: int, command: int) -> Heard | None:
        """
        A client has written these two; None if it had before.

        Raises:
            RefusedError: 03 there is no such command, the number is 0 or does not come after the newest;
                06 the command before is not answered yet.
        """
        before, name = self.of(client), _NAMES.get(command)
        if name is None or not number:
            raise RefusedError(ILLEGAL_VALUE)
        if (number, command) == (before.number, before.command):
            return None
        on = not before.counted or is_later(number, before.counted)
        if not on and name not in HEARD_ALWAYS:
            raise RefusedError(ILLEGAL_VALUE)
        if before.answer == _WAITING and name not in AT_ONCE:
            raise RefusedError(BUSY)
        self._keep(client, Asked(number, command, _WAITING, (), number if on else before.counted))
        return Heard(client, number, name, not before.counted and name not in HEARD_ALWAYS)

    def answered(self, heard: Heard, reasons: tuple[int, ...]) -> None:
        """What became of it; of one that is no longer the newest it is not told."""
        asked = self.of(heard.client)
        if (asked.number, asked.command) == (heard.number, numbers.COMMANDS[heard.command]):
            answer = _REFUSED if reasons else _ACCEPTED
            self._keep(heard.client, asked._replace(answer=answer, reasons=reasons))

    def _keep(self, client: str, asked: Asked) -> None:
        """Of many clients the one that was silent longest is forgotten: its next number is a first one."""
        self._asked.pop(client, None)
        self._asked[client] = asked
        if len(self._asked) > CLIENTS_MAX:
            del self._asked[next(iter(self._asked))]


def is_later(number: int, than: int) -> bool:
    """
    Whether a number comes after another (RFC 1982, 3.2, with 16 bits).

    >>> is_later(8, 7), is_later(7, 7), is_later(7, 8), is_later(2, 65_530)
    (True, False, False, True)
    """
    return 0 < (number - than) % 0x1_0000 < 0x8000
