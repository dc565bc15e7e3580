"""The figures of the station for whoever collects them: one page over HTTP, on this machine alone."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

from controller.reporter.lines import Opening
from controller.reporter.station import StationTold
from controller.reporting.station_now import LinkNow
from controller.reporting.views.prometheus import CONTENT_TYPE, exposition, families

HOST = "127.0.0.1"
PATH = "/metrics"
MOST_BYTES = 8_192
PATIENCE_S = 5.0
"""For a request to come in, and its answer to be taken."""


@asynccontextmanager
async def serve(
    port: int, opening: Opening, station: StationTold, link: Callable[[], LinkNow | None]
) -> AsyncIterator[int]:
    """
    Answers while it is open; gives the port.

    Args:
        port: 0: any that is free.
        opening: Which station.
        station: Where the figures come from.
        link: Tells how the publishing stands; None: there is none.

    Raises:
        OSError: The port is taken.
    """

    def page() -> str:
        told = link() or LinkNow(False, "not published", opening.software, opening.io)
        found = families(
            opening.name, station.now, station.readings, told, station.figures, simulated=opening.simulated
        )
        return exposition(found) if station.is_known else ""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError, TimeoutError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            async with asyncio.timeout(PATIENCE_S):
                head = await reader.readuntil(b"\r\n\r\n")
                writer.write(_answer(head, page))
                await writer.drain()
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()

    server = await asyncio.start_server(answer, HOST, port, limit=MOST_BYTES)
    async with server:
        yield server.sockets[0].getsockname()[1]


def _answer(head: bytes, page: Callable[[], str]) -> bytes:
    method, _, rest = head.partition(b"\r\n")[0].decode("latin-1").partition(" ")
    path = rest.partition(" ")[0].partition("?")[0]
    if path != PATH:
        return _response("404 Not Found", f"there is {PATH}\n")
    if method not in ("GET", "HEAD"):
        return _response("405 Method Not Allowed", "GET alone\n", "Allow: GET, HEAD\r\n")
    return _response("200 OK", page(), kind=CONTENT_TYPE, whole=method == "GET")


def _response(
    status: str, text: str, more: str = "", kind: str = "text/plain; charset=utf-8", whole: bool = True
) -> bytes:
    body = text.encode()
    head = f"HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\n{more}"
    return f"{head}Connection: close\r\n\r\n".encode() + (body if whole else b"")
