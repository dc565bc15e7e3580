"""
A command as it comes from the broker: read strictly, whatever somebody sent.

What it says is judged elsewhere: whether it was retained, is over its time, came before, and whether the
station takes commands from there at all.
"""

import json
import re
from typing import Any, NamedTuple

from pydantic import ValidationError

from controller.reporting.message_models import COMMAND_ID, COMMANDS, CommandAsked

PAYLOAD_BYTES = 4_096
"""The longest that is read; a command needs about 250."""


class Unreadable(NamedTuple):
    """No command; there is somebody to answer where it has an id."""

    why: str
    id: str = ""


def read_command(payload: bytes) -> CommandAsked | Unreadable:
    """
    The command, or why it is none.

    >>> read_command(b"start").why
    'is not JSON'
    """
    if len(payload) > PAYLOAD_BYTES:
        return Unreadable(f"has {len(payload):,} bytes, at most {PAYLOAD_BYTES:,} are read")
    twice: list[bool] = []

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        twice.append(len(found) < len(pairs))
        return found

    try:
        document: Any = json.loads(payload.decode(), object_pairs_hook=once)
    except (ValueError, RecursionError):
        return Unreadable("is not JSON")
    if not isinstance(document, dict):
        return Unreadable("is not a JSON object")
    if any(twice):  # readers do not agree on which of them counts (RFC 8259 section 4)
        return Unreadable("a key stands there twice", _id(document))
    try:
        return CommandAsked.model_validate(document)
    except ValidationError as error:
        return Unreadable(_first(error), _id(document))


def _id(document: dict[str, Any]) -> str:
    found = document.get("id")
    return found if isinstance(found, str) and re.fullmatch(COMMAND_ID, found) else ""


def _first(error: ValidationError) -> str:
    """The first of what is wrong; a sender who is told it will find the next."""
    found = error.errors(include_url=False, include_context=False, include_input=False)[0]
    key = ".".join(str(part) for part in found["loc"])[:40]
    if found["type"] == "missing":
        return f"{key}: is missing"
    if found["type"] == "extra_forbidden":
        return f"{key}: is not known here"
    if key == "command":
        return f"command: is none of {', '.join(COMMANDS)}"
    return f"{key}: {found['msg']}"
