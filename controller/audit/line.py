"""
One line of the audit log, as bytes.

A line is one JSON object on one line of ASCII. It bears the hash of the line before it (`prev`; 64 zeros in
the first) and ends with its own (`hash`): SHA-256 (FIPS 180-4) over its canonical form, which is the line
without that last member: sorted keys, no blanks. So the chain speaks of every byte of every line.
"""

import hashlib
import json
from collections.abc import Mapping
from typing import Any, NamedTuple

from controller.records import Deed

FIRST = "0" * 64
"""What stands in place of the hash before the first line."""

MOST_BYTES = 64 * 1024
"""Of a line; a longer one is none of ours."""

_END = b',"hash":"%s"}'
_END_BYTES = len(_END) - 2 + 64


class Anchor(NamedTuple):
    """The end of the log as somebody else wrote it down; a chain alone does not know where it ended."""

    head: str  # hash of the line
    lines: int  # its number


class Read(NamedTuple):
    """A line that is whole: its hash is that of its bytes."""

    seq: int
    prev: str
    hash: str
    document: Mapping[str, Any]


def line_of(seq: int, prev: str, deed: Deed) -> tuple[bytes, str]:
    """The line of a deed without its line end, and its hash."""
    document = {
        "seq": seq, "prev": prev, "utc": deed.utc, "mono_ms": deed.at_ms, "who": deed.who,
        "place": deed.place, "command": deed.command, "parameters": dict(deed.parameters),
        "result": deed.result, "reasons": list(deed.reasons),
    }  # fmt: skip
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), allow_nan=False)
    body = text.encode("ascii")
    digest = hashlib.sha256(body).hexdigest()
    return body[:-1] + _END % digest.encode("ascii"), digest


def read_line(line: bytes) -> Read | None:
    """The line, if its bytes are those that its hash speaks of; else None."""
    body, end = line[:-_END_BYTES] + b"}", line[-_END_BYTES:]
    digest = hashlib.sha256(body).hexdigest()
    if len(line) > MOST_BYTES or end != _END % digest.encode("ascii"):
        return None
    try:
        document = json.loads(body)
        return Read(int(document["seq"]), str(document["prev"]), digest, document)
    except (ValueError, KeyError, TypeError):
        return None
