"""The password of a station at its broker: from the environment, or from a file that nobody else may read."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from controller.reporting.services import Mqtt

LONGEST, MOST_BYTES = 1_024, 16 * 1_024


class SecretError(Exception):
    """A password cannot be had; says where it was looked for and the way out, and never what it is."""


def password(mqtt: Mqtt, folder: Path, environ: Mapping[str, str]) -> str | None:
    """
    The password; None where none is set.

    Args:
        mqtt: Says where it is.
        folder: Of the station, the start of a relative path.
        environ: The environment.

    Raises:
        SecretError: It is not there, or others may read it.
    """
    if mqtt.password_env:
        if found := environ.get(mqtt.password_env):
            return found
        msg = f"{mqtt.password_env}: is not set in the environment, or is empty: set it, or use password_file"
        raise SecretError(msg)
    if mqtt.password_file:
        path = folder / mqtt.password_file
        return _first_line(path, read_private(path))
    return None


def read_private(path: Path) -> bytes:
    """
    A short file that only its owner may read, as of a password or a key.

    Raises:
        SecretError: It is not there, is no file, or others may read it.
    """
    try:
        opened = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)  # a pipe would wait for a writer
        try:
            found = os.fstat(opened)  # of what was opened: the name may point elsewhere by now
            content = os.read(opened, MOST_BYTES) if stat.S_ISREG(found.st_mode) else b""
        finally:
            os.close(opened)
    except OSError as error:
        msg = f"{path}: cannot be read: {error.strerror}"
        raise SecretError(msg) from None
    if not stat.S_ISREG(found.st_mode):
        msg = f"{path}: is no ordinary file"
        raise SecretError(msg)
    if found.st_mode & 0o077:
        mode = stat.S_IMODE(found.st_mode)
        msg = f"{path}: its mode is {mode:04o}, so others may read it: run chmod 600 {path}"
        raise SecretError(msg)
    return content


def _first_line(path: Path, content: bytes) -> str:
    try:
        lines = content.decode().splitlines()
    except UnicodeDecodeError:
        lines = []
    if len(lines) != 1 or not lines[0] or len(lines[0]) > LONGEST:
        msg = f"{path}: holds {len(lines)} lines; a password is one line of UTF-8, up to {LONGEST} characters"
        raise SecretError(msg)
    return lines[0]
