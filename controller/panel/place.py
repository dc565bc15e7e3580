"""
Where the panel socket of a station lies: in a folder that only its user may enter.

One socket for each station folder, and one more for a simulated plant that stands alone. It is named after
where the folder lies: a stop must reach a rig even when the files of its station have become unreadable, and
no other rig whose folder has the same name.
"""

import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from controller.stations import folder_key

LONGEST = 100
"""Bytes that every system takes as the path of a socket (108 on Linux, 104 elsewhere, with its end)."""


class PanelError(Exception):
    """The panel socket cannot be opened or reached; says what and the way out."""


def socket_path(station: Path, *, plant: bool = False) -> Path:
    """
    Where the socket of the station in folder `station` lies; nothing is created.

    Raises:
        PanelError: the path would be longer than a socket's may be.
    """
    path = _folder() / f"{folder_key(station)}{'.plant' if plant else ''}.sock"
    if len(os.fsencode(path)) > LONGEST:
        msg = f"{path}: longer than {LONGEST} bytes, more than a socket's path may have: set XDG_RUNTIME_DIR"
        raise PanelError(msg)
    return path


def make_private(folder: Path) -> None:
    """
    The folder, there and closed to everybody else.

    Raises:
        PanelError: it is somebody else's, a link, or open to others; says how to put that right.
    """
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
    except OSError as error:
        msg = f"{folder}: cannot be made: {error.strerror}; set XDG_RUNTIME_DIR to a folder of your own"
        raise PanelError(msg) from None
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.getuid():
        msg = f"{folder}: is not a folder of this user's own: remove it, or set XDG_RUNTIME_DIR"
        raise PanelError(msg)
    if found.st_mode & 0o077:
        msg = f"{folder}: others may enter it: run chmod 700 {folder}"
        raise PanelError(msg)


@contextmanager
def only_rig_at(address: str, unit: int) -> Iterator[None]:
    """
    While it lasts no other rig of this user asks the I/O module there, wherever its station's folder lies.

    Raises:
        PanelError: one does so already.
    """
    folder, module = _folder(), f"I/O at {address}, unit {unit}"
    make_private(folder)
    lock = locked(folder / f"io-{sha256(module.encode()).hexdigest()[:16]}.lock", module)
    try:
        yield
    finally:
        os.close(lock)


def locked(path: Path, what: str) -> int:
    """
    A lock file, to be closed, with the process's number in it; the system lets go of it with the process.

    Raises:
        PanelError: another process has it.
    """
    lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        process = os.read(lock, 20).decode(errors="replace").strip()
        os.close(lock)
        which = f" as process {process}" if process else ""
        msg = f"{what}: belongs to one that runs already{which}; end that first"
        raise PanelError(msg) from None
    with suppress(OSError):  # on a full disk it is locked all the same
        os.ftruncate(lock, 0)
        os.write(lock, b"%d\n" % os.getpid())
    return lock


def _folder() -> Path:
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    if runtime and Path(runtime).is_absolute() and Path(runtime).is_dir():
        return Path(runtime) / "vacuum-receiver"
    return Path(tempfile.gettempdir()) / f"vacuum-receiver-{os.getuid()}"
