"""Who speaks over the panel socket: the login name that the system knows, never one that was sent."""

import os
import pwd
import socket
import struct

_CREDENTIALS = struct.Struct("iII")  # struct ucred of Linux: process, user, group


class Caller:
    """One connection. `who`: the login name of its process; empty where there is no connection."""

    def __init__(self, who: str = "") -> None:
        self._who = who

    def who(self, on_behalf_of: str | None = None) -> str:
        """
        The login name, with whom it says that it acts for.

        >>> Caller("alice").who(), Caller("alice").who("bob")
        ('alice', 'alice for bob')
        """
        return f"{self._who} for {on_behalf_of}" if on_behalf_of else self._who


class LoginNames:
    """Of users by their number. Those who may open the socket are looked up here, once: it can take long."""

    def __init__(self) -> None:
        self._names = {uid: _name(uid) for uid in (0, os.getuid())}

    def of(self, connection: socket.socket) -> str:
        """The name of who is at the other end."""
        uid = os.getuid()  # nobody else may open the folder of the socket
        if hasattr(socket, "SO_PEERCRED"):
            found = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
            uid = _CREDENTIALS.unpack(found)[1]
        return self._names.get(uid, f"user {uid}")


def _name(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"user {uid}"
