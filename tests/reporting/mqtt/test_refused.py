"""What a broker does not take, or does not let be heard, is said, and holds nothing else up (MQTT 5.0)."""

import asyncio

import pytest
from reporting.mqtt.brokered import BASE, REST, UTC, event, mqtt, reading, site, until
from reporting.mqtt.refusing_broker import refusing_broker
from test_journal import cycle

from controller.events import ALARM_IDS
from controller.reporting import journal_kept
from controller.reporting.journal_kept import LOOKED_AT_EVERY, Kept
from controller.reporting.messages import Answer
from controller.reporting.mqtt import conversation
from controller.reporting.mqtt.conversation import stopped
from controller.reporting.mqtt.remote import Waiting
from controller.reporting.mqtt.watch import WatchAsk, watch

WHY = "the broker does not allow this user to do that"
ALARMS = {f"{BASE}/alarm/{name}" for name in ALARM_IDS}


def settings(broker, **more):
    return mqtt(broker.port, protocol="5.0", **more)


@pytest.mark.parametrize("hangs_up", [False, True])
@pytest.mark.parametrize(
    ("refused", "what"),
    [
        (f"{BASE}/state", "the state"),
        (f"{BASE}/status", "the status"),
        (f"{BASE}/alarm/NO_VACUUM", "alarms"),
    ],
)
async def test_a_state_that_is_not_taken_is_said_and_every_line_is_told(tmp_path, refused, what, hangs_up):
    """In the second start, so that there are alarms to be told again."""
    async with refusing_broker(hangs_up=hangs_up) as broker:
        for topics in ((), (refused,)):
            broker.refused, broker.told, broker.opened = set(topics), [], 0
            async with site(tmp_path, settings(broker)) as here:
                here.publisher.now(REST, [reading(1.0)])
                here.write(event(1, "STATE_CHANGED" if topics else "POWER_UP"), event(2))
                tag = f"{BASE}/tags/PT-101"
                await until(lambda: here.waiting() == 0 and tag in broker.told)  # noqa: B023
                if not (topics and hangs_up):
                    await until(lambda: set(broker.told) >= ALARMS - broker.refused)
                said = here.publisher.link.said
    assert f"{what}: not taken: {WHY}" in said
    assert broker.opened <= 1 + hangs_up
    assert refused not in broker.told


async def test_a_state_that_was_not_taken_is_told_when_it_is_allowed(tmp_path, monkeypatch):
    monkeypatch.setattr(conversation, "REFUSED_AGAIN_S", 0.05)
    refused = f"{BASE}/state"
    async with refusing_broker(refused) as broker, site(tmp_path, settings(broker)) as here:
        here.publisher.now(REST, [reading(1.0)])
        await until(lambda: "the state: not taken" in here.publisher.link.said)
        broker.refused.clear()
        await until(lambda: refused in broker.told and here.publisher.link.said == "connected")


async def test_what_was_refused_and_then_removed_from_the_journal_is_said_no_more(tmp_path, monkeypatch):
    monkeypatch.setattr(conversation, "REFUSED_AGAIN_S", 0.05)
    monkeypatch.setattr(journal_kept, "MOST_AT_ONCE", 1)
    kept = Kept(mb=0.02)
    async with refusing_broker(f"{BASE}/cycle") as broker, site(tmp_path, settings(broker), kept=kept) as here:
        here.write(cycle(1)._replace(start_utc=UTC, alarms=()))
        await until(lambda: "lines of the journal: not taken" in here.publisher.link.said)
        here.write(*(event(number, what="x" * 200) for number in range(LOOKED_AT_EVERY)))
        assert here.journal.removed_untold
        await until(lambda: here.publisher.link.said == "connected" and here.waiting() == 0)


async def test_an_answer_that_is_not_taken_is_counted_and_holds_up_no_other(tmp_path):
    async with (
        refusing_broker("desk/1") as broker,
        site(tmp_path, settings(broker, commands="allowed", answer_prefix="desk/")) as here,
    ):
        await until(lambda: here.publisher.link.online)
        for desk in ("desk/1", "desk/2"):
            answer = Answer("cmd-00001", "stop", "A. Miller", True)
            here.publisher._conversation.remote.answers.append(Waiting(answer, desk, None))
            here.publisher.wrote()
            await until(lambda: not here.publisher._conversation.remote.answers)
        await until(lambda: "desk/2" in broker.told)
    assert here.publisher.link.commands_unheard == 1


@pytest.mark.parametrize("kind", ["command", "status"])
async def test_a_topic_that_the_broker_does_not_let_be_heard_is_said(tmp_path, kind):
    async with (
        refusing_broker(f"{BASE}/{kind}") as broker,
        site(tmp_path, settings(broker, commands="allowed")) as here,
    ):
        here.write(event(1))
        await until(lambda: here.waiting() == 0)
        assert f"{BASE}/{kind} is not heard: {WHY}" in here.publisher.link.said


async def test_who_watches_is_told_that_the_broker_does_not_let_him(tmp_path):
    said = []
    async with refusing_broker(f"{BASE}/#") as broker:
        watching = asyncio.create_task(watch(WatchAsk(settings(broker), tmp_path), print, said.append))
        await until(lambda: said)
        await stopped([watching])
    assert said[0].startswith(WHY)


async def test_that_a_command_was_sent_to_be_retained_is_seen_also_while_connected(tmp_path):
    """Retain as published, bit 3 of the options (section 3.8.3.1); the broker clears the flag otherwise."""
    async with refusing_broker() as broker, site(tmp_path, settings(broker, commands="allowed")) as here:
        await until(lambda: here.publisher.link.online)
    assert broker.options == {f"{BASE}/status": 0b0001, f"{BASE}/command": 0b1001}
