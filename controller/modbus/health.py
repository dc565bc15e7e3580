"""How a link stands, and the one error that everything on it ends in."""

from typing import Literal, NamedTuple


class LinkError(Exception):
    """
    An exchange failed: nothing of it may be used.

    `broken` says whether the connection is lost with it (closed by the peer, or a stream that cannot be
    trusted any more); otherwise the next exchange goes over the same connection.
    """

    def __init__(self, said: str, *, broken: bool = True) -> None:
        self.broken = broken
        super().__init__(said)


class Health(NamedTuple):
    """
    State of the link, for the page and for messages; the logic goes by the age of the image alone.

    good: the last exchange worked; stale: it did not, but the newest image is not older than the watchdog
    time; bad: older, or there never was one.
    """

    state: Literal["good", "stale", "bad"]
    said: str  # the last error in words; empty while good
    misses: int  # exchanges in a row that failed
    last_good_ms: int | None  # clock at the beginning of the last one that worked
    exchanges: int  # that worked, since the start
