"""What a broker is told, on a broker in this process; and that nobody waits for one that is away or frozen."""

import asyncio
import time

import jsonschema
import pytest
from reporting.mqtt import brokered
from reporting.mqtt.brokered import (
    BASE,
    BOOT,
    OLDER,
    REST,
    event,
    frozen_broker,
    listening,
    mqtt,
    reading,
    site,
    until,
)
from reporting.mqtt.refusing_broker import refusing_broker
from reporting.told import told_run

from controller.events import ALARM_IDS
from controller.reporting import messages
from controller.reporting.message_models import MODELS
from controller.reporting.mqtt import connection as connections
from controller.reporting.mqtt import conversation, publisher
from controller.reporting.mqtt.connection import Connection
from controller.reporting.mqtt.embedded import broker
from controller.reporting.mqtt.publisher import Backoff

SCHEMAS = {kind: model.model_json_schema(by_alias=True) for kind, model in MODELS.items()}
KINDS = {"tags": "tag"}


@pytest.fixture
def port():
    return brokered.free_port()


async def test_a_run_is_told_in_order_each_message_after_its_schema_and_then_marked(tmp_path, port):
    run = told_run()
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        for record in run.cycles:
            here.journal.add_cycle(record)
        here.publisher.now(run.nows[0][1], run.readings[0])
        here.write(*run.events)
        await until(lambda: here.waiting() == 0 and len(heard.numbers()) == len(run.events) + len(run.cycles))
        here.publisher.now(run.nows[9][1], run.readings[9])
        await until(lambda: len(heard.of("state")) == 2)
    assert heard.numbers() == list(range(1, len(run.events) + len(run.cycles) + 1))
    assert [got.told["id"] for got in heard.of("event")] == [record.id for record in run.events]
    assert {got.kind for got in heard.got} == {"status", "state", "tags", "event", "alarm", "cycle"}
    for got in heard.got:
        jsonschema.validate(got.told, SCHEMAS[KINDS.get(got.kind, got.kind)])
        assert got.told["simulated"]
        assert got.told["boot"] == BOOT
        assert not got.retained  # as it happens; the broker sets the flag for who comes later


async def test_who_comes_later_finds_status_state_and_every_alarm_and_nothing_else(tmp_path, port):
    async with broker(port), site(tmp_path, mqtt(port)) as here:
        here.publisher.now(REST, [reading(1.0)])
        here.write(event(1, "POWER_UP"), event(2, "NO_VACUUM", "normal -> unacknowledged", 3))
        await until(lambda: here.waiting() == 0)
        async with listening(port) as late:
            await until(lambda: len(late.got) >= 2 + len(ALARM_IDS))
    assert all(got.retained for got in late.got)
    assert {got.topic for got in late.got} == {
        f"{BASE}/status", f"{BASE}/state", *(f"{BASE}/alarm/{name}" for name in ALARM_IDS),
    }  # fmt: skip
    states = {got.told["id"]: got.told["state"] for got in late.of("alarm")}
    assert states.pop("NO_VACUUM") == "unacknowledged"
    assert set(states.values()) == {"normal"}
    assert {got.told["online"] for got in late.of("status")} == {True}


async def test_a_clean_end_tells_what_waits_and_then_offline_with_its_word(tmp_path, port):
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        await until(lambda: here.publisher.link.online)
        here.write(*(event(number) for number in range(40)))
        await here.publisher.leave("the controller ended", 5.0)
        await until(lambda: here.running.done())
        assert here.waiting() == 0
        await until(lambda: heard.of("status")[-1].told["online"] is False)
        async with listening(port, f"{BASE}/status") as late:
            await until(lambda: late.got)
    assert heard.of("status")[-1].told["said"] == "the controller ended"
    assert heard.got[-1].kind == "status"  # and no will after it
    assert late.got[0].told["online"] is False


async def test_a_connection_that_is_lost_lets_the_broker_tell_the_will_and_the_next_one_is_born(
    tmp_path, port
):
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        await until(lambda: [got.told["online"] for got in heard.of("status")] == [True])
        here.publisher._connection.cut()  # as a cable that is pulled: no farewell
        await until(lambda: [got.told["online"] for got in heard.of("status")][-2:] == [False, True])
    will = next(got.told for got in heard.of("status") if not got.told["online"])
    assert will["said"] == "the connection was lost"
    assert heard.of("status")[-1].told["said"].startswith("connected; before that: 127.0.0.1")


async def test_the_will_of_a_frozen_twin_is_put_right(tmp_path, port):
    """An older start of this receiver, that everybody took for dead, ends at last: seen with a real broker."""
    head = messages.Head("R-101", OLDER, 1, brokered.UTC, 1, simulated=True, forced=False)
    now = messages.LinkNow(False, "the connection was lost", "0.1.0", "simulated")
    will = messages.status(messages.Topics("mill", "R-101"), head, now)
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        twin = Connection(mqtt(port), tmp_path, None, client_id="twin", will=will)
        await twin.open()
        await until(lambda: here.publisher.link.online and heard.of("status"))
        twin.cut()
        await until(lambda: OLDER in [got.told["boot"] for got in heard.of("status")])
        await until(lambda: heard.of("status")[-1].told["boot"] == BOOT)
        async with listening(port, f"{BASE}/status") as late:
            await until(lambda: late.got)
    assert late.got[0].told["online"] is True


async def test_another_receiver_under_the_same_topics_is_told_of_and_not_fought(tmp_path, port, monkeypatch):
    """Both say so; then nobody puts anybody right, though there is time for it again and again."""
    monkeypatch.setattr(conversation, "AGAIN_S", 0.0)
    async with broker(port), site(tmp_path / "a", mqtt(port)) as here:
        await until(lambda: here.publisher.link.online)
        async with site(tmp_path / "b", mqtt(port, client_id="R101b"), boot=OLDER) as other:
            await until(lambda: "another receiver" in here.publisher.link.said)
            assert other.publisher.link.online
            async with listening(port) as heard:
                for number in range(1, 20):
                    here.write(event(number))
                    other.write(event(number))
                    await until(lambda: here.waiting() == other.waiting() == 0)
                await until(lambda: len(heard.of("event")) == 38)
    assert not [got for got in heard.of("status", "state") if not got.retained]


async def test_when_another_receiver_ends_all_that_is_kept_is_ours_again_and_it_is_not_spoken_of(
    tmp_path, port, monkeypatch
):
    monkeypatch.setattr(conversation, "AGAIN_S", 0.01)
    kept = {}

    def ours():
        kept.update((got.topic, got.told) for got in heard.of("status", "state", "alarm"))
        return {told["boot"] for told in kept.values()} == {BOOT}

    async with broker(port), listening(port) as heard, site(tmp_path / "a", mqtt(port)) as here:
        here.publisher.now(REST, [reading(1.0)])
        here.write(event(1, "POWER_UP"), event(2, "NO_VACUUM", "normal -> unacknowledged", 3))
        await until(lambda: here.waiting() == 0 and here.publisher.link.online)
        async with site(tmp_path / "b", mqtt(port, client_id="R101b"), boot=OLDER) as other:
            other.publisher.now(REST._replace(step="CONVEY", state="SUCTION"), [reading(1.0)])
            other.write(event(1, "POWER_UP"))
            await until(lambda: other.waiting() == 0 and "another receiver" in here.publisher.link.said)
            await until(lambda: not ours())
        await until(lambda: ours() and here.publisher.link.said == "connected")
    assert len(kept) == 2 + len(ALARM_IDS)
    assert kept[f"{BASE}/state"]["state"] == "IDLE"
    assert kept[f"{BASE}/alarm/NO_VACUUM"]["state"] == "unacknowledged"


@pytest.mark.parametrize(
    "payload", [b"[" * 60_000, b"", b"{}", b'{"boot": [], "online": {}}', b"1" * 200_000]
)
async def test_what_somebody_else_says_in_our_status_is_put_right_and_ends_nothing(
    tmp_path, port, payload, monkeypatch
):
    monkeypatch.setattr(conversation, "AGAIN_S", 0.01)
    async with broker(port), listening(port, f"{BASE}/event") as heard, site(tmp_path, mqtt(port)) as here:
        await until(lambda: here.publisher.link.online)
        connection = here.publisher._connection
        told = here.publisher._conversation._status_told_s
        await heard.client.publish(f"{BASE}/status", payload, qos=1, retain=True)
        await until(lambda: here.publisher._conversation._status_told_s > told)
        assert here.publisher._connection is connection
        assert here.publisher.link.said == "connected"
        here.write(event(1))
        await until(lambda: here.waiting() == 0)
        async with listening(port, f"{BASE}/status") as late:
            await until(lambda: late.got)
    assert late.got[0].told["boot"] == BOOT


async def test_what_is_written_while_the_broker_is_away_is_told_when_it_is_back_in_order(tmp_path, port):
    async with site(tmp_path, mqtt(port)) as here:
        here.write(*(event(number) for number in range(1, 30)))
        await until(lambda: "nobody listens there" in here.publisher.link.said)
        async with broker(port), listening(port) as heard:
            await until(lambda: here.waiting() == 0)
            here.write(event(30))
            await until(lambda: len(heard.numbers()) == 30)
        await until(lambda: not here.publisher.link.online)
        here.write(*(event(number) for number in range(31, 60)))
        async with broker(port), listening(port) as again:
            await until(lambda: here.waiting() == 0 and len(again.numbers()) == 29)
    assert heard.numbers() == list(range(1, 31))
    assert again.numbers() == list(range(31, 60))


async def test_what_was_told_stays_told_over_a_start_and_the_alarms_stand_as_they_stood(tmp_path, port):
    async with broker(port), listening(port) as heard:
        async with site(tmp_path, mqtt(port)) as here:
            here.write(event(1, "POWER_UP"), event(2, "NO_VACUUM", "normal -> unacknowledged", 3))
            here.write(event(3, "INPUT_FORCED", "level_free reads 0, FORCED"))
            await until(lambda: here.waiting() == 0)
        before = len(heard.of("event"))
        async with site(tmp_path, mqtt(port)) as here:
            await until(lambda: here.publisher.link.online)
            here.write(event(4))
            await until(lambda: here.waiting() == 0 and len(heard.of("event")) == before + 1)
            assert heard.of("event")[-1].told["forced"]
            here.write(event(5, "POWER_UP"))
            await until(
                lambda: (
                    here.waiting() == 0
                    and sum(got.told["seq"] == 5 for got in heard.of("alarm")) == len(ALARM_IDS)
                )
            )
    stood = [got.told for got in heard.of("alarm") if got.told["id"] == "NO_VACUUM"]
    assert [told["state"] for told in stood] == ["normal", "unacknowledged", "unacknowledged", "normal"]
    assert stood[1] == stood[2]  # the same message, by number too
    assert not heard.of("event")[-1].told["forced"]


async def test_what_a_simulated_start_left_is_told_as_simulated_by_a_real_one_after_it(tmp_path, port):
    async with site(tmp_path, mqtt(port), boot=OLDER) as here:
        here.write(event(1, "POWER_UP"), event(2, "NO_VACUUM", "normal -> unacknowledged", 3))
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port), simulated=False) as here:
        await until(lambda: here.waiting() == 0 and len(heard.of("alarm")) == len(ALARM_IDS) + 1)
        stood = heard.of("alarm")[-1].told
        here.write(event(3, "POWER_UP"))
        await until(lambda: heard.numbers() == [1, 2, 3] and heard.of("alarm")[-1].told["seq"] == 3)
    assert [(got.told["boot"], got.told["simulated"]) for got in heard.of("event")] == [
        (OLDER, True), (OLDER, True), (BOOT, False),
    ]  # fmt: skip
    assert (stood["id"], stood["boot"], stood["simulated"]) == ("NO_VACUUM", OLDER, True)
    assert (heard.of("alarm")[-1].told["boot"], heard.of("alarm")[-1].told["simulated"]) == (BOOT, False)


async def test_what_is_retained_of_an_alarm_is_the_same_message_whenever_it_is_told(tmp_path, port):
    """Two publishers of the same start, one after the other."""
    async with broker(port), listening(port) as heard:
        for number in (1, 2):
            async with site(tmp_path, mqtt(port)) as here:
                here.write(
                    event(number, ("POWER_UP", "NO_VACUUM")[number - 1], "normal -> unacknowledged", 3)
                )
                await until(lambda: here.waiting() == 0)
            await until(lambda: [got.told["online"] for got in heard.of("status")][-2:] == [True, False])
    told = {}
    for got in heard.of("alarm"):
        assert told.setdefault((got.topic, got.told["boot"], got.told["seq"]), got.told) == got.told
    assert len(told) == len(ALARM_IDS) + 1
    assert {seq for _, _, seq in told} == {1, 2}


async def test_a_frozen_broker_holds_nobody_up_and_is_given_up_without_a_trace(tmp_path, monkeypatch):
    monkeypatch.setattr(connections, "ANSWER_S", 0.05)
    async with frozen_broker() as frozen, site(tmp_path, mqtt(frozen.port)) as here:
        began_s = time.monotonic()
        for number in range(200):
            here.publisher.now(REST, [reading(float(number))])
            here.publisher.wrote()
        assert time.monotonic() - began_s < 1.0  # of given work alone; nothing of it waits for the broker
        await until(lambda: frozen.closed >= 2)  # no connection is left that could come back to life
        assert "did not answer" in here.publisher.link.said
        began_s = time.monotonic()
        await here.publisher.leave("ended", 0.5)
        assert time.monotonic() - began_s < 2.0


async def test_a_broker_that_freezes_later_costs_no_line_and_only_tags_are_dropped(tmp_path, monkeypatch):
    monkeypatch.setattr(connections, "ANSWER_S", 0.05)
    async with frozen_broker(polite=True) as frozen, site(tmp_path, mqtt(frozen.port)) as here:
        here.write(*(event(number) for number in range(1, 20)))
        value = iter(range(10_000))

        def dropped():
            here.publisher.now(REST, [reading(float(next(value)))])
            return here.publisher.link.tags_dropped

        await until(lambda: dropped() > 3)
        assert frozen.opened > 1  # it was tried again
        assert here.waiting() == 19
        assert len(here.publisher._conversation._tags._due) <= 1  # nothing piles up


async def test_the_status_says_whatever_was_lost(tmp_path, port):
    """Tags, lines that the journal had no room for, and commands that were not even answered."""
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port, commands="allowed")) as here:
        here.journal.removed_untold = 12
        await until(lambda: heard.of("status"))
        assert heard.of("status")[-1].told["lines_removed"] == 12
        for _ in range(8):
            await heard.client.publish(f"{BASE}/command", b"[]", qos=1)
        await until(lambda: here.publisher.link.commands_unheard == 8)
        await here.publisher.leave("ended", 2.0)
        await until(lambda: heard.of("status")[-1].told["said"] == "ended")
    assert heard.of("status")[-1].told["commands_unheard"] == 8


async def test_a_line_that_fits_no_schema_is_said_and_does_not_stop_those_behind_it(tmp_path, port):
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        here.write(event(1), event(2, priority=9), event(3))
        await until(lambda: heard.numbers() == [1, 3] and here.waiting() == 0)
        assert "line 2 of the journal is not told" in here.publisher.link.said


@pytest.mark.parametrize(
    ("code", "protocol", "said"),
    [
        (1, "5.0", "the broker does not speak this protocol: set protocol to the other one"),
        (2, "3.1.1", "the broker does not take the client_id: all take 1 to 23 letters and digits"),
        (3, "3.1.1", "the broker is not available"),
        (4, "3.1.1", "the broker refuses user or password"),
        (5, "3.1.1", "the broker does not allow this user to do that: its access list must let it"),
    ],
)
async def test_what_a_broker_refuses_with_is_said_in_words(tmp_path, code, protocol, said):
    """Return codes of MQTT 3.1.1, table 3.1."""
    async with (
        frozen_broker(polite=True, code=code) as frozen,
        site(tmp_path, mqtt(frozen.port, protocol=protocol)) as here,
    ):
        await until(lambda: here.publisher.link.said == f"127.0.0.1:{frozen.port}: {said}")
        assert not here.publisher.link.online


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"user": "r101", "password_env": "NOT_SET_ANYWHERE"}, "NOT_SET_ANYWHERE: is not set"),
        ({"tls": {"ca_file": "missing.pem"}}, "No such file"),
    ],
)
async def test_a_secret_that_cannot_be_had_is_said_and_tried_again(tmp_path, port, settings, said):
    async with site(tmp_path, mqtt(port, **settings)) as here:
        await until(lambda: said in here.publisher.link.said)
        assert not here.running.done()


def pauses(monkeypatch):
    """Between attempts, in s, as they are asked for; none of them is waited for."""
    asked_s = []

    async def none(event, within_s):
        asked_s.append(within_s)
        await asyncio.sleep(0)

    monkeypatch.setattr(publisher, "woken", none)
    return asked_s


async def test_attempts_become_rarer_and_two_receivers_do_not_keep_step(tmp_path, port, monkeypatch):
    asked_s = pauses(monkeypatch)
    async with site(tmp_path, mqtt(port), backoff=Backoff(0.1, 30.0, 5.0)):
        await until(lambda: len(asked_s) >= 40)
    longest_s = [min(0.1 * 2**attempt, 30.0) for attempt in range(40)]
    parts = [asked / most for asked, most in zip(asked_s, longest_s, strict=False)]
    assert all(0.5 <= part <= 1.0 for part in parts)
    assert (
        max(parts) - min(parts) > 0.3
    )  # by chance: 40 of them within 0.3 of each other come once in 10**7 runs
    assert len(set(parts)) > 30


async def test_a_broker_that_was_there_for_long_and_is_gone_is_tried_ever_more_rarely(
    tmp_path, port, monkeypatch
):
    asked_s = pauses(monkeypatch)
    async with site(tmp_path, mqtt(port, protocol="5.0"), backoff=Backoff(0.1, 30.0, 0.0)) as here:
        async with refusing_broker(port=port):
            await until(lambda: here.publisher.link.online)
        tried = len(asked_s)
        await until(lambda: len(asked_s) >= tried + 12)
    assert asked_s[-1] >= 15.0


async def test_commands_are_not_even_listened_to_unless_they_are_allowed(tmp_path, port):
    async with broker(port), listening(port) as heard, site(tmp_path, mqtt(port)) as here:
        await until(lambda: here.publisher.link.online)
        await heard.client.publish(f"{BASE}/command", b"{}", qos=1)
        here.write(event(1))
        await until(lambda: heard.numbers() == [1])
    assert not here.asked
    assert not heard.of("answer")
