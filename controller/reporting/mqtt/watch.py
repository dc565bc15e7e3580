"""
A small subscriber: every message of a receiver as a line to read, or as it came.

It only listens. What it prints was sent by whoever may publish there, so nothing of it reaches the terminal
but characters that can be printed.
"""

import asyncio
import os
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import aiomqtt
from pydantic import ValidationError

from controller.records import printable, stands
from controller.reporting.commands import Unreadable, read_command
from controller.reporting.message_models import MODELS
from controller.reporting.messages import Topics
from controller.reporting.mqtt.connection import ANSWER_S, Connection
from controller.reporting.mqtt.reasons import NotTakenError, why
from controller.reporting.secret import password
from controller.reporting.services import Mqtt

KINDS = ("status", "state", "tags", "event", "alarm", "cycle", "command", "answer")
AGAIN_S = 2.0
"""Between two attempts to reach a broker."""
LONGEST = 400
"""Characters of what a line says."""


class WatchAsk(NamedTuple):
    """What is to be watched."""

    mqtt: Mqtt
    folder: Path  # of the station
    only: Collection[str] = KINDS
    as_json: bool = False  # as it came, with its topic
    for_s: float | None = None


async def watch(ask: WatchAsk, say: Callable[[str], None], tell: Callable[[str], None]) -> None:
    """
    Until the time is over, else for ever; a broker that is away is waited for.

    Args:
        ask: What.
        say: Takes a line for each message.
        tell: Takes what is to be said of the connection itself.

    Raises:
        SecretError, OSError: Password or certificate cannot be read.
    """
    with suppress(TimeoutError):
        async with asyncio.timeout(ask.for_s):
            told = ""
            while True:
                try:
                    await _listen(ask, say, tell)
                except (aiomqtt.MqttError, NotTakenError) as error:
                    said = f"{why(error, ask.mqtt, ANSWER_S)}; trying again every {AGAIN_S:g} s"
                    if said != told:
                        tell(said)
                    told = said
                await asyncio.sleep(AGAIN_S)


async def _listen(ask: WatchAsk, say: Callable[[str], None], tell: Callable[[str], None]) -> None:
    topics = Topics(ask.mqtt.site, ask.mqtt.unit)
    secret = password(ask.mqtt, ask.folder, os.environ)
    connection = Connection(ask.mqtt, ask.folder, secret, client_id="")
    try:
        await connection.open()
        await connection.hear(f"{topics.base}/#")
        tell(f"{ask.mqtt.host}:{ask.mqtt.port}: listening to {topics.base}/#")
        async for message in connection.messages:
            kind = str(message.topic).removeprefix(f"{topics.base}/").partition("/")[0]
            if kind in ask.only and (line := _line(ask, kind, message)):
                say(printable(line))
    finally:
        await connection.close()


def _line(ask: WatchAsk, kind: str, message: aiomqtt.Message) -> str:
    payload = bytes(message.payload)
    if ask.as_json:
        return f"{message.topic} {payload.decode(errors='replace')}"
    try:
        told = MODELS["tag" if kind == "tags" else kind].model_validate_json(payload)
    except ValidationError:
        read = read_command(payload) if kind == "command" else None
        why = f" ({read.why})" if isinstance(read, Unreadable) else ""
        return f"{kind}: no message after its schema{why}: {payload[:80]!r}"
    return line(kind, told.model_dump(by_alias=True), retained=message.retain)


def line(kind: str, told: dict[str, Any], *, retained: bool = False) -> str:
    """In words what is after its schema; empty: an alarm that is normal, as the broker kept it."""
    if kind == "alarm" and retained and told["state"] == "normal":
        return ""
    words = _WORDS[kind](told)[:LONGEST]
    if kind == "command":
        return f"{told['issued_at'][11:]}  {kind:7} {words}"
    marks = [mark for mark in ("simulated", "forced") if told[mark]] + ["retained"] * retained
    return f"{told['ts'][11:]}  {kind:7} {words}" + (f"  ({', '.join(marks)})" if marks else "")


def _status(told: dict[str, Any]) -> str:
    online = "online" if told["online"] else "OFFLINE"
    lost = {"lines removed": told["lines_removed"], "commands unheard": told["commands_unheard"]}
    found = [f"{told['waiting']} wait, {told['tags_dropped']} tags dropped"]
    wait = ", ".join([*found, *(f"{count} {what}" for what, count in lost.items() if count)])
    return f"{online}: {told['said']}; on {told['io']}; commands {told['commands']}; {wait}"


def _state(told: dict[str, Any]) -> str:
    parts = [
        stands(told["state"], told["step"]),
        told["told"],
        "the remote place has control" if told["remote_in_control"] else "",
        "manual" if told["manual"] else "",
        f"alarms {', '.join(told['alarms'])}" if told["alarms"] else "",
        f"TR88 {told['machine_state']['name']}, NE 107 {told['device_status']['name']}",
    ]
    return "; ".join(filter(None, parts))


def _tag(told: dict[str, Any]) -> str:
    value = "no value" if told["value"] is None else f"{told['value']:g} {told['unit']}".rstrip()
    return f"{told['tag']} {value}, {told['q']}: {told['description']}"


def _event(told: dict[str, Any]) -> str:
    return f"{told['id']} {told['what']}: {told['text']}" + (f" ({told['detail']})" if told["detail"] else "")


def _alarm(told: dict[str, Any]) -> str:
    urgent = ("", "low", "medium", "HIGH")[told["priority"]]
    act = "" if told["state"] == "normal" else f". Do: {told['action']}"
    return f"{told['id']} {told['state']}, {urgent}: {told['text']}{act}"


def _cycle(told: dict[str, Any]) -> str:
    took_s = sum(step["ms"] for step in told["steps"]) / 1_000
    kg = "mass not known" if told["delivered_kg"] is None else f"{told['delivered_kg']:.2f} kg"
    return f"{told['number']} {told['kind']}: {told['result']} in {took_s:.1f} s, {kg}"


def _command(told: dict[str, Any]) -> str:
    return f"{told['command']} by {told['operator']}, {told['id']}"


def _answer(told: dict[str, Any]) -> str:
    result = "accepted" if told["accepted"] else f"refused: {'; '.join(told['reasons'])}"
    asked = f"{told['command']} by {told['operator']}" if told["command"] else "what could not be read"
    return f"{asked}, {told['id']}: {result}"


_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    "status": _status, "state": _state, "tags": _tag, "event": _event, "alarm": _alarm, "cycle": _cycle,
    "command": _command, "answer": _answer,
}  # fmt: skip
