"""Commands from the wire to the rig and back, on a broker in this process."""

import asyncio
import json
from datetime import UTC, datetime, timedelta

import pytest
from reporting.mqtt.brokered import BASE, event, free_port, listening, mqtt, site, until

from controller.reporting.mqtt import remote
from controller.reporting.mqtt.embedded import broker

COMMAND = f"{BASE}/command"


@pytest.fixture
def port():
    return free_port()


def ready(here):
    """What was issued just before this start is refused for two seconds; test_gate.py looks at that."""
    here.publisher._conversation.remote.gate._not_before -= timedelta(seconds=5)


def stamp(after_s=0.0):
    date = datetime.now(UTC) + timedelta(seconds=after_s)
    return date.isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def command(id, name="start", issued_s=0.0, expires_s=5.0, **more):
    asked = {
        "schema": "receiver.command/1", "id": id, "command": name, "operator": "A. Miller",
        "issued_at": stamp(issued_s), "expires_at": stamp(expires_s),
    }  # fmt: skip
    return json.dumps(asked | more).encode()


def answers(heard):
    return [(got.told["id"], got.told["accepted"], got.told["reasons"]) for got in heard.of("answer")]


async def test_a_command_reaches_the_rig_once_and_is_answered(tmp_path, port):
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port, commands="allowed")) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        payload = command("cmd-00001")
        for _ in range(3):
            await heard.client.publish(COMMAND, payload, qos=1)
        await until(lambda: len(answers(heard)) == 3)
    assert [(asked.command, asked.operator, asked.id) for asked in here.asked] == [
        ("start", "A. Miller", "cmd-00001")
    ]
    assert answers(heard) == [("cmd-00001", True, [])] * 3  # the same answer each time
    assert here.deeds == []  # what reaches the rig is written down there
    assert {got.retained for got in heard.of("answer")} == {False}


async def test_what_the_rig_refuses_with_is_the_answer(tmp_path, port):
    async def refuse(asked, left_ms):
        return ("the vessel below is full",)

    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port) as heard, site(tmp_path, settings, ask=refuse) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        await heard.client.publish(COMMAND, command("cmd-00001"), qos=1)
        await until(lambda: answers(heard))
    assert answers(heard) == [("cmd-00001", False, ["the vessel below is full"])]


async def test_a_rig_that_is_silent_or_broken_is_told_of_and_holds_nothing_up(tmp_path, port, monkeypatch):
    monkeypatch.setattr(remote, "ANSWER_S", 0.05)

    async def never(asked, left_ms):
        if asked.command == "reset":
            msg = "the channel is closed"
            raise RuntimeError(msg)
        await asyncio.Event().wait()

    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port) as heard, site(tmp_path, settings, ask=never) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        await heard.client.publish(COMMAND, command("cmd-00001"), qos=1)
        await heard.client.publish(COMMAND, command("cmd-00002", "reset"), qos=1)
        here.write(event(1))
        await until(lambda: len(answers(heard)) == 2 and heard.numbers() == [1])
    told = {id: reasons[0] for id, _, reasons in answers(heard)}
    assert told["cmd-00001"] == "no answer of the controller within 0.05 s: look at the state"
    assert told["cmd-00002"] == "the controller cannot be asked: the channel is closed"


async def test_a_retained_command_does_nothing_at_this_start_nor_at_any_later_one(tmp_path, port):
    async with broker(port), listening(port) as heard:
        await heard.client.publish(COMMAND, command("cmd-00001"), qos=1, retain=True)
        async with site(tmp_path, mqtt(port, commands="allowed")) as here:
            ready(here)
            await until(lambda: answers(heard))
            here.publisher._connection.cut()
            await until(lambda: here.publisher.link.said.startswith("connected; before that"))
            here.write(event(1))
            await until(lambda: heard.numbers() == [1])
    assert here.asked == []
    assert {reasons[0].partition(":")[0] for _, _, reasons in answers(heard)} == {
        "was retained by the broker"
    }
    assert len(here.deeds) >= 2
    assert {(deed.who, deed.place, deed.command, deed.result) for deed in here.deeds} == {
        ("A. Miller", "remote", "start", "refused")
    }


async def test_rubbish_and_a_megabyte_change_nothing_for_the_command_behind_them(tmp_path, port):
    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port, f"{BASE}/answer") as heard, site(tmp_path, settings) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        for payload in (
            b"",
            b"start",
            b"{",
            b"\x00" * 1_000_000,
            command("cmd-00001")[:-1],
            b'{"id": "cmd-00009"}',
        ):
            await heard.client.publish(COMMAND, payload, qos=1)
        await heard.client.publish(COMMAND, command("cmd-00002", "stop"), qos=1)
        await until(lambda: ("cmd-00002", True, []) in answers(heard))
    assert [asked.id for asked in here.asked] == ["cmd-00002"]
    assert [(id, reasons[0]) for id, ok, reasons in answers(heard) if not ok] == [
        ("cmd-00009", "schema: is missing")
    ]


async def test_the_rig_gets_no_longer_than_the_command_has_left_nor_than_its_sender_is_waited_for(
    tmp_path, port
):
    left = {}

    async def ask(asked, left_ms):
        left[asked.id] = left_ms
        return ()

    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port) as heard, site(tmp_path, settings, ask=ask) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        await heard.client.publish(COMMAND, command("cmd-00001", expires_s=2.0), qos=1)
        await heard.client.publish(COMMAND, command("cmd-00002", expires_s=10.0), qos=1)
        await until(lambda: len(answers(heard)) == 2)
    assert 0 < left["cmd-00001"] <= 2_000
    assert left["cmd-00002"] == 1_000 * remote.BEGIN_S < 1_000 * remote.ANSWER_S


@pytest.mark.parametrize(
    ("prefix", "topic", "correlation", "goes"),
    [
        ("", "desk/7", b"1", False),
        ("desk/", "desk/7", b"1", True),
        ("desk/", "desks/7", b"1", False),
        ("", "", None, False),
        ("desk/", "", None, False),
        ("desk/", "desk/#", b"1", False),
        ("desk/", "desk/\x07", b"1", False),
        ("receiver", f"{BASE}/status", b"1", False),
        ("desk/", "desk/" + "x" * 251, b"x" * 256, True),
        ("desk/", "desk/" + "x" * 252, b"1", False),
        ("desk/", "desk/7", b"x" * 257, False),
    ],
)
async def test_an_answer_goes_to_a_topic_of_the_senders_only_under_the_prefix_that_is_set(
    prefix, topic, correlation, goes
):
    class Properties:
        ResponseTopic, CorrelationData = topic, correlation

    class Message:
        payload, retain, properties = b'{"id": "cmd-00001"}', False, Properties

    answering = remote.Remote(lambda: ("", 0), prefix, None, lambda deed: None, lambda: None)
    answering.take(Message)
    (waiting,) = answering.answers
    assert (waiting.topic, waiting.correlation) == ((topic, correlation) if goes else ("", None))
