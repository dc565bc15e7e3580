"""
A process that is started beside the scans.

Python's own ways hold the interpreter until the new process has loaded its program, which on a busy machine
takes longer than a scan; so the C library is called from another thread, without the interpreter.
"""

import asyncio
import ctypes
import os
import signal
from collections.abc import Sequence

DEAF = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
"""What it never takes: whoever started it ends it, and is ended by these in order."""
LOOK_S = 0.02
UNKNOWN = 256
"""In place of an exit code, where somebody else took it: SIGCHLD is ignored."""


class Child:
    """A process that was started here; it is reaped by `ended`, and by nobody else."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._code: int | None = None

    def kill(self) -> None:
        """At once, if it still runs."""
        if self._ended() is None:
            os.kill(self.pid, signal.SIGKILL)

    async def ended(self, within_s: float) -> int | None:
        """Its exit code, below 0 the signal that ended it; None: it still runs after this time."""
        for _ in range(max(1, round(within_s / LOOK_S))):
            if self._ended() is not None:
                break
            await asyncio.sleep(LOOK_S)
        return self._ended()

    def _ended(self) -> int | None:
        if self._code is None:
            try:
                pid, status = os.waitpid(self.pid, os.WNOHANG)
            except ChildProcessError:
                self._code = UNKNOWN
            else:
                self._code = os.waitstatus_to_exitcode(status) if pid else None
        return self._code


async def started(command: Sequence[str], keeps: int) -> Child:
    """
    Starts a program, named by its path, with this process's environment.

    Args:
        command: Program and arguments.
        keeps: The file that it inherits beside the standard ones.

    Raises:
        OSError: It cannot be started.
    """
    os.set_inheritable(keeps, True)
    return Child(await asyncio.to_thread(_spawned, command))


def _spawned(command: Sequence[str]) -> int:
    """In a thread of its own, whose signals that are blocked the program inherits."""
    pid = ctypes.c_int()
    arguments = _strings([os.fsencode(part) for part in command])
    environment = _strings([name + b"=" + value for name, value in os.environb.items()])
    spawn = ctypes.CDLL(None).posix_spawn
    before = signal.pthread_sigmask(signal.SIG_BLOCK, DEAF)
    try:
        error = spawn(ctypes.byref(pid), arguments[0], None, None, arguments, environment)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    if error:
        raise OSError(error, os.strerror(error))
    return pid.value


def _strings(parts: Sequence[bytes]) -> "ctypes.Array[ctypes.c_char_p]":
    return (ctypes.c_char_p * (len(parts) + 1))(*parts, None)
