"""
The map as a Modbus server: read by few clients, written only where commands are allowed.

Nothing is laid down in a scan: a request reads the rows that it asks for, all of the last scan.
"""

import asyncio
from collections.abc import Callable, Sequence
from typing import Protocol

from controller.modbus.answers import ILLEGAL_ADDRESS, ILLEGAL_VALUE, RefusedError, Tables, answer
from controller.modbus.places import Link, Table
from controller.modbus.server import Server
from controller.registers.now import Asked, Now
from controller.registers.numbered_commands import Heard, NumberedCommands
from controller.registers.numbers import FIRST_NUMBER, ReasonNumbers
from controller.registers.table import COMMAND, COMMANDS, NUMBER, READ, ROWS, Row

AT_ONCE_MAX = 8
"""Requests that a client may send before it has read the replies: none of them may hold up a scan."""


class Receiver(Protocol):
    """The running receiver as the map needs it."""

    @property
    def scan(self) -> int:
        """Counts the scans since power-up."""

    def now(self, asked: Asked, *, commands: bool) -> Now:
        """As of the last scan."""

    async def request(self, command: str, who: str) -> tuple[str, ...]:
        """A command from the remote place; returns after the scan that saw it. Empty: accepted."""

    def turned_away(self, command: str, who: str, why: str) -> None:
        """A command that does not get as far as a scan is written down."""


class RegisterMap:
    """The server of one receiver; `answer` is the server without its sockets."""

    def __init__(self, receiver: Receiver, reasons: ReasonNumbers, link: Link, *, commands: bool) -> None:
        self._receiver, self._reasons, self._allowed = receiver, reasons, commands
        self._commands = NumberedCommands()
        self._doing: set[asyncio.Task[None]] = set()
        self._read: tuple[int, Asked, Now] | None = None
        self._client = self._who = ""
        self.tables = _MapTables(self._now, self._written, commands=commands)
        self.server = Server(
            link, link.host, link.port, self._asked, lambda number: None, at_once_max=AT_ONCE_MAX
        )

    async def start(self) -> None:
        """
        Listen.

        Raises:
            LinkError: the address is in use, is not this machine's, or may not be used.
        """
        await self.server.start()

    async def close(self) -> None:
        """Stop listening; what was asked for is answered to nobody."""
        await self.server.close()
        for task in self._doing:
            task.cancel()
        await asyncio.gather(*self._doing, return_exceptions=True)

    def answer(self, pdu: bytes, client: str, who: str) -> bytes:
        """The reply to a request of a client, which is known by its address; `who` has its port too."""
        self._client, self._who = client, who
        return answer(pdu, self.tables)

    def _now(self) -> Now:
        """Of the last scan, for the client that asks."""
        scan, asked = self._receiver.scan, self._commands.of(self._client)
        if self._read is None or self._read[:2] != (scan, asked):
            self._read = scan, asked, self._receiver.now(asked, commands=self._allowed)
        return self._read[2]

    def _asked(self, connection: int, pdu: bytes) -> bytes:
        who = self.server.peer(connection)
        return self.answer(pdu, who.rpartition(":")[0], who)

    def _written(self, number: int, command: int) -> None:
        heard = self._commands.write(self._client, number, command)
        if heard is None:
            return
        if heard.only_mark:
            self._receiver.turned_away(heard.command, self._who, FIRST_NUMBER)
            self._answered(heard, (FIRST_NUMBER,))
            return
        task = asyncio.get_running_loop().create_task(self._do(heard, self._who))
        self._doing.add(task)
        task.add_done_callback(self._doing.discard)

    async def _do(self, heard: Heard, who: str) -> None:
        self._answered(heard, await self._receiver.request(heard.command, who))

    def _answered(self, heard: Heard, said: Sequence[str]) -> None:
        numbers = dict.fromkeys(self._reasons.of(heard.command, words) for words in said)
        self._commands.answered(heard, tuple(numbers))


class _MapTables(Tables):
    """What is read, and two registers that are written together or not at all."""

    def __init__(
        self, now: Callable[[], Now], written: Callable[[int, int], None], *, commands: bool
    ) -> None:
        super().__init__()
        self._now, self._written = now, written
        self._of: Now | None = None
        self._found: dict[tuple[Table, int, int], list[int]] = {}  # of this scan, for who asks again
        self._rows: dict[Table, dict[int, Row]] = {table: {} for table in self.cells}
        for row in (*ROWS, *(COMMANDS if commands else ())):
            self._rows[row.table] |= dict.fromkeys(range(row.address, row.address + row.size), row)
        for table, size in READ.items():
            self.cells[table] = dict.fromkeys(range(size), 0)
        for row in COMMANDS if commands else ():
            self.cells[row.table][row.address] = 0
            self.writable.add((row.table, row.address))

    def read(self, table: Table, start: int, count: int) -> list[int]:
        """As promised; what has no row reads 0."""
        if not 0 <= start <= len(self.cells[table]) - count:
            raise RefusedError(ILLEGAL_ADDRESS)
        if (now := self._now()) is not self._of:
            self._of, self._found = now, {}
        if (found := self._found.get((table, start, count))) is None:
            rows = self._rows[table]
            found = self._found[table, start, count] = [
                rows[address].cell(now, address) if address in rows else 0
                for address in range(start, start + count)
            ]
        return found

    def write(self, table: Table, start: int, values: Sequence[int]) -> None:
        """As promised; a command is its number and itself, in one request."""
        self.check(table, start, len(values))
        if (start, len(values)) != (NUMBER, COMMAND + 1):
            raise RefusedError(ILLEGAL_VALUE)
        self._written(*values)
