"""The small subscriber: a line for each message, nothing of it a terminal would obey; the broker that comes along."""

import asyncio
import errno
import json
import socket
import sys

import pytest
from reporting.mqtt.brokered import BASE, REST, event, free_port, listening, mqtt, reading, site, until
from reporting.told import HEAD, LINK, TOPICS, told_run
from typer.testing import CliRunner

from controller.cli import app
from controller.reporting import messages
from controller.reporting.mqtt import watch as watching
from controller.reporting.mqtt.embedded import EmbeddedError, broker, here
from controller.reporting.mqtt.watch import KINDS, WatchAsk, line, watch
from controller.reporting.services import Mqtt
from controller.stations import station_folder


def of_kind(message):
    kind = message.topic.removeprefix(f"{TOPICS.base}/").partition("/")[0]
    return line(kind, json.loads(message.payload))


def test_every_kind_of_message_has_a_line_that_says_when_what_and_that_it_is_simulated():
    run = told_run()
    moved = next(filter(None, map(messages.alarm_now, run.events)))
    lines = [
        of_kind(messages.status(TOPICS, HEAD, LINK)),
        of_kind(messages.state(TOPICS, HEAD, run.nows[5][1], run.readings[5])),
        of_kind(messages.tag(TOPICS, HEAD, run.readings[5][0])),
        of_kind(messages.event(TOPICS, HEAD, run.events[0])),
        of_kind(messages.alarm(TOPICS, HEAD, moved)),
        of_kind(messages.cycle(TOPICS, HEAD, run.cycles[0])),
        of_kind(
            messages.answer(
                TOPICS, HEAD, messages.Answer("cmd-00001", "start", "A. Miller", False, ("full",))
            )
        ),
    ]
    assert all("(simulated)" in line and line[12] == "Z" for line in lines)
    assert "online: started; on simulated; commands refused; 0 wait, 0 tags dropped" in lines[0]
    assert "start by A. Miller, cmd-00001: refused: full" in lines[6]
    assert f"{run.cycles[0].number} {run.cycles[0].kind}: {run.cycles[0].result}" in lines[5]
    assert f"{moved.id} {moved.state}" in lines[4]
    assert "Do: " in lines[4]


def test_what_was_no_command_is_said_as_such_with_the_reason():
    answer = messages.answer(TOPICS, HEAD, messages.Answer("desk-00001", "", "", False, ("command: is missing",)))
    said = "what could not be read, desk-00001: refused: command: is missing"
    assert f"answer  {said}" in of_kind(answer)
    stop = messages.Message(TOPICS.of("command"), b"stop", 1, retain=False)
    assert shown(stop) == "command: no message after its schema (is not JSON): b'stop'"


@pytest.mark.parametrize(
    "payload",
    [b"", b"{}", b"[]", b"null", b"\xff", b'{"ts": 1}', b'{"state": {}, "ts": ""}', b"[" * 60_000],
)
@pytest.mark.parametrize("kind", KINDS)
async def test_what_is_no_message_is_shown_as_such_and_ends_nothing(kind, payload):
    class Message:
        topic, retain = f"{BASE}/{kind}", False

    Message.payload = payload
    shown = watching._line(WatchAsk(mqtt(1), None), kind, Message())
    assert shown.startswith(f"{kind}: no message after its schema")


def shown(message):
    class Message:
        topic, payload, retain = message.topic, message.payload, False

    kind = message.topic.removeprefix(f"{TOPICS.base}/").partition("/")[0]
    return watching._line(WatchAsk(mqtt(1), None), kind, Message())


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("alarm", {"priority": 7}),
        ("alarm", {"priority": -9}),
        ("tags", {"value": 10**400}),
        ("cycle", {"steps": 1}),
    ],
)
def test_a_number_that_no_receiver_sends_ends_nothing(kind, change):
    run = told_run()
    message = {
        "alarm": messages.alarm(TOPICS, HEAD, next(filter(None, map(messages.alarm_now, run.events)))),
        "tags": messages.tag(TOPICS, HEAD, run.readings[5][0]),
        "cycle": messages.cycle(TOPICS, HEAD, run.cycles[0]),
    }[kind]
    strange = json.dumps({**json.loads(message.payload), **change}).encode()
    assert shown(message).endswith("(simulated)")
    assert shown(message._replace(payload=strange)).startswith(f"{kind}: no message after its schema")


def test_a_line_has_an_end_and_says_that_it_is_simulated_whatever_its_length():
    long = messages.event(TOPICS, HEAD, told_run().events[0]._replace(detail="x" * 50_000))
    assert len(shown(long)) < 500
    assert shown(long).endswith("(simulated)")


async def test_it_shows_what_a_receiver_tells_and_waits_for_a_broker_that_is_away(tmp_path, monkeypatch):
    monkeypatch.setattr(watching, "AGAIN_S", 0.05)
    port = free_port()
    shown, said = [], []
    ask = WatchAsk(mqtt(port), tmp_path, ("event", "tags", "alarm", "status"))
    task = asyncio.create_task(watch(ask, shown.append, said.append))
    await until(lambda: said)
    assert said == [f"127.0.0.1:{port}: nobody listens there; trying again every 0.05 s"]
    async with broker(port):
        await until(lambda: len(said) == 2)
        async with site(tmp_path, mqtt(port)) as told:
            told.publisher.now(REST, [reading(1.5)])
            told.write(event(1), event(2, what="\x1b]0;gotcha\x07"))
            await until(lambda: sum("  event " in line for line in shown) == 2)
            await until(lambda: any("PT-101 1.5 kPa, simulated: vacuum" in line for line in shown))
        task.cancel()
        await asyncio.wait([task])
    assert said[1] == f"127.0.0.1:{port}: listening to {BASE}/#"
    assert any("?]0;gotcha?" in line for line in shown)
    assert all(line.isprintable() for line in shown)
    assert not any("  state " in line for line in shown)


async def test_alarms_that_are_normal_are_not_shown_to_who_comes_later_and_json_comes_as_it_is(tmp_path):
    port = free_port()
    async with broker(port), site(tmp_path, mqtt(port)) as told:
        told.write(event(1, "NO_VACUUM", "normal -> unacknowledged", 3))
        await until(lambda: told.waiting() == 0)
        words, as_json = [], []
        asks = (
            WatchAsk(mqtt(port), tmp_path, ("alarm",)),
            WatchAsk(mqtt(port), tmp_path, ("status",), as_json=True),
        )
        tasks = [
            asyncio.create_task(watch(ask, into.append, lambda said: None))
            for ask, into in zip(asks, (words, as_json), strict=True)
        ]
        await until(lambda: words and as_json)
        for task in tasks:
            task.cancel()
        await asyncio.wait(tasks)
    assert {line.split()[2] for line in words} == {"NO_VACUUM"}
    topic, _, payload = as_json[0].partition(" ")
    assert topic == f"{BASE}/status"
    assert json.loads(payload)["online"] is True


async def test_the_broker_that_comes_along_listens_on_loopback_alone_and_serves_several(tmp_path):
    port = free_port()
    async with broker(port), listening(port, "a") as one, listening(port, "a") as two:
        with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.2", port), 1.0):
            pass
        await one.client.publish("a", b"{}", qos=1)
        await until(lambda: one.got and two.got)
    with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.1", port), 1.0):
        pass


async def test_a_port_that_is_taken_and_a_package_that_is_missing_are_said_with_the_way_out(monkeypatch):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(
            EmbeddedError, match=r"another program, perhaps a broker, listens there: name another port"
        ):
            async with broker(other.getsockname()[1]):
                pass
    monkeypatch.setitem(sys.modules, "amqtt.broker", None)
    with pytest.raises(EmbeddedError, match=r"pip install 'vacuum-receiver\[broker\]'"):
        async with broker(1):
            pass


def test_the_settings_for_the_broker_here_keep_the_names_and_drop_the_secrets(tmp_path):
    far = Mqtt(
        publish=False, host="broker.example", port=8883, protocol="5.0", site="mill", unit="R-101", client_id="R101",
        user="r101", password_env="SECRET", tls={}, commands="allowed",
    )  # fmt: skip
    near = here(far, tmp_path)
    assert (near.publish, near.host, near.port, near.protocol) == (True, "127.0.0.1", 8883, "3.1.1")
    assert (near.site, near.unit, near.client_id) == ("mill", "R-101", "R101")
    assert (near.user, near.password_env, near.encryption) == ("", "", None)


@pytest.mark.parametrize(
    ("protected", "commands"),
    [
        ({}, "allowed"),
        ({"user": "r101", "password_env": "SECRET"}, "refused"),
        ({"tls": {}}, "refused"),
        ({"host": "broker.example"}, "refused"),
    ],
)
def test_the_broker_here_lets_no_commands_in_that_were_let_in_under_protection_it_has_not(
    protected, commands, tmp_path
):
    asked = Mqtt(site="mill", unit="R-101", client_id="R101", commands="allowed", **protected)
    assert here(asked, tmp_path).commands == commands


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--only", "evnt"], "did you mean 'event'?"),
        (["--broker", "10.0.0.1:1883"], "another machine is named in services.yaml"),
        (["--broker", "nonsense"], "write it as HOST:PORT"),
        (["--for", "soon"], "soon"),
    ],
)
def test_wrong_options_are_said_with_exit_code_2(options, said):
    result = CliRunner().invoke(app, ["watch", str(station_folder("buckwheat_mill")), *options])
    assert result.exit_code == 2
    assert said in result.output


def test_a_reader_that_goes_away_is_no_wrong_input(monkeypatch):
    async def gone(ask, say, tell):
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    monkeypatch.setattr(watching, "watch", gone)
    result = CliRunner().invoke(app, ["watch", "buckwheat_mill"])
    assert (result.exit_code, result.output) == (1, "")


def test_it_ends_by_itself_when_it_is_asked_to():
    options = ["--for", "200ms", "--broker", f"127.0.0.1:{free_port()}"]
    result = CliRunner().invoke(app, ["watch", "buckwheat_mill", *options])
    assert result.exit_code == 0
    assert "nobody listens there" in result.output
