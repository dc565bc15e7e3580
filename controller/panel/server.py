"""
The panel socket of a running rig or simulated plant.

Runs on the rig's own event loop, so what one turn of it may take is bounded: short lines, few clients, one
answer a client in each pause. What a client sends may be refused, it never disturbs a scan.
"""

import asyncio
import errno
import os
import socket
import stat
from pathlib import Path
from typing import NamedTuple, Self

from controller.panel.caller import Caller, LoginNames
from controller.panel.holding import Holding
from controller.panel.messages import (
    LINE_BYTES,
    Answer,
    Asked,
    CommandAsked,
    FailAsked,
    ForceAsked,
    HoldAsked,
    PointsAsked,
    ReleaseAsked,
    UnreadableError,
    WhyAsked,
    line_of,
    read,
)
from controller.panel.place import PanelError, locked, make_private, socket_path
from controller.panel.rig import Rig, SimulatedPlant


class Limits(NamedTuple):
    """What the socket grants."""

    clients: int = 8
    idle_s: float = 60.0
    held_idle_s: float = 2.0  # for who holds or forces something: what is held ends with the connection
    answer_s: float = 2.0  # for a scan to take a command, and for a client to take its answer
    pause_s: float = 0.025  # after each answer (0.5 ms at the most): all clients take a sixth of the loop


LIMITS = Limits()


class Panel:
    """
    The socket of the station in folder `station`, open within `async with`.

    `plant`: of a simulated plant that stands alone, beside the socket of the rig of the same station.
    """

    def __init__(
        self, station: Path, rig: Rig | SimulatedPlant, *, plant: bool = False, limits: Limits = LIMITS
    ) -> None:
        self.path = socket_path(station, plant=plant)
        self._rig = rig
        self._holding = Holding(rig) if isinstance(rig, Rig) else None
        self._limits, self._names = limits, LoginNames()
        self._clients: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        """
        Opens the socket.

        Raises:
            PanelError: another rig of this station runs, or the socket cannot be made.
        """
        make_private(self.path.parent)
        self._lock = locked(self.path.with_suffix(".lock"), str(self.path))
        try:
            listening = _listen(self.path)
            self._inode = self.path.stat().st_ino
            self._server = await asyncio.start_unix_server(
                self._connected, sock=listening, limit=LINE_BYTES, backlog=self._limits.clients
            )
        except BaseException:
            os.close(self._lock)
            raise
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        for client in self._clients:
            client.cancel()
        await asyncio.gather(*self._clients, return_exceptions=True)
        if self.path.exists() and self.path.stat().st_ino == self._inode:
            self.path.unlink()
        os.close(self._lock)

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        this, by = asyncio.current_task(), Caller(self._names.of(writer.get_extra_info("socket")))
        assert this is not None
        try:
            if len(self._clients) >= self._limits.clients:
                said = f"{self._limits.clients} others are connected: end one of them and try again"
                writer.write(line_of(Answer(answer="error", reasons=(said,))))
                return
            self._clients.add(this)
            await self._serve(reader, writer, by)
        except (OSError, TimeoutError, asyncio.IncompleteReadError):
            pass  # it went, fell silent or did not take its answer: nothing more to say to it
        finally:
            if self._holding:
                self._holding.release(by)
            self._clients.discard(this)
            if writer.transport.get_write_buffer_size():
                writer.transport.abort()  # `close` would wait for one who takes nothing
            else:
                writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, by: Caller) -> None:
        while True:
            held = self._holding is not None and self._holding.holds(by)
            try:
                async with asyncio.timeout(self._limits.held_idle_s if held else self._limits.idle_s):
                    line = await reader.readuntil(b"\n")
                answer = await self._answer(line, by)
            except asyncio.LimitOverrunError:
                line = b""
                answer = Answer(answer="error", reasons=(f"a line is longer than {LINE_BYTES} bytes",))
            writer.write(line_of(answer))
            async with asyncio.timeout(self._limits.answer_s):
                await writer.drain()
            if not line:
                return
            await asyncio.sleep(self._limits.pause_s)

    async def _answer(self, line: bytes, by: Caller) -> Answer:
        """What to say to a line; never raises but for the end of the connection."""
        try:
            async with asyncio.timeout(self._limits.answer_s):
                answer = await self._asked(read(line), by)
            return answer.model_copy(update={"status": self._rig.status()})
        except UnreadableError as no:
            return Answer(answer="error", reasons=(str(no),))
        except TimeoutError:
            said = f"no scan took it within {self._limits.answer_s:g} s; a stop or halt still acts"
            return Answer(answer="error", reasons=(said,))
        except Exception as error:  # a mistake in this program must not stop the scans
            return Answer(answer="error", reasons=(f"not done: {type(error).__name__}: {error}",))

    async def _asked(self, asked: Asked, by: Caller) -> Answer:
        if isinstance(asked, FailAsked):
            who = by.who(asked.on_behalf_of)
            return _outcome(self._rig.fail(asked.mode, asked.amount, asked.for_ms, who))
        if self._holding is None or not isinstance(self._rig, Rig):
            return _needs_rig(asked)
        match asked:
            case CommandAsked():
                return _outcome(await self._rig.request(asked.command, by.who(asked.on_behalf_of)))
            case HoldAsked() | ForceAsked():
                holding = self._holding
                answer = (
                    await holding.hold(by, asked)
                    if isinstance(asked, HoldAsked)
                    else holding.force(by, asked)
                )
                if answer.answer == "refused":
                    what = asked.model_dump(include={"output", "point", "value"})
                    self._rig.refused(asked.ask, answer.reasons, by.who(asked.on_behalf_of), **what)
                return answer
            case ReleaseAsked():
                self._holding.release(by)
            case PointsAsked():
                return Answer(answer="accepted", points=list(self._rig.points()))
            case WhyAsked():
                return Answer(answer="accepted", why=self._rig.why())
        return Answer(answer="accepted")


def _needs_rig(asked: Asked) -> Answer:
    if asked.ask == "status":
        return Answer(answer="accepted")
    return Answer(answer="refused", reasons=("this is a simulated plant alone: it takes failures only",))


def _outcome(reasons: tuple[str, ...]) -> Answer:
    return Answer(answer="refused" if reasons else "accepted", reasons=reasons)


def _listen(path: Path) -> socket.socket:
    """A socket of its own at `path`; a dead one is removed, a living one left alone."""
    if path.is_symlink() or path.exists():
        if path.is_symlink() or not stat.S_ISSOCK(path.stat().st_mode):
            msg = f"{path}: is no socket: somebody put it there; remove it"
            raise PanelError(msg)
        if _answers(path):
            msg = f"{path}: is answered by one that runs already; end that first"
            raise PanelError(msg)
        path.unlink()
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        made.bind(str(path))
        path.chmod(0o600)
    except OSError as error:
        made.close()
        msg = f"{path}: cannot be made: {error.strerror}"
        raise PanelError(msg) from None
    return made


def _answers(path: Path) -> bool:
    """Whether somebody listens; a stopped process with a full queue counts as one that does."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.setblocking(False)
        code = probe.connect_ex(str(path))
    return code not in (errno.ECONNREFUSED, errno.ENOENT)
