"""A start from the broker to the motor: every part in between, but for the socket between the processes."""

import asyncio

import pytest
from live.rigs import PRESETS
from live.test_reporting import Asked as AskedRig
from reporting.mqtt.brokered import free_port, listening, mqtt, site, until
from reporting.mqtt.test_commands_over_a_broker import COMMAND, answers, command, ready

from controller.clock import machine_ms
from controller.live.desk import By
from controller.reporter.told import Asked
from controller.reporting.mqtt.embedded import broker
from controller.sequence.steps import Step


class Rig:
    """A rig that takes starts from remote; `to_it` is the reporter's end."""

    def __init__(self, folder, *, remote):
        self.of = AskedRig(folder, presets=PRESETS._replace(remote_start_allowed=True))
        self.of.reporting._at_ms = machine_ms
        self.of.driven.rig.desk.hand_control(to_remote=remote, by=By("the panel socket"))
        self.of.driven.run(1_000)
        self.lines = []
        self.to_it = Asked(self.take)
        self.of.reporting.reporter.answer = self.to_it.answered

    def take(self, kind, *values):
        self.lines.append(kind)
        self.of.reporting._asked(*values)

    @property
    def step(self):
        return Step(self.of.driven.rig.memory.step)


@pytest.mark.parametrize("handed_over", [True, False])
async def test_a_start_over_mqtt_starts_once_where_it_is_let_and_control_was_handed_over(
    tmp_path, handed_over
):
    rig, port = Rig(tmp_path / "rig", remote=handed_over), free_port()
    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port) as heard, site(tmp_path, settings, ask=rig.to_it.ask) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        payload = command("cmd-00001", "start")
        await heard.client.publish(COMMAND, payload, qos=1)
        await until(lambda: rig.of.driven.scan() or answers(heard))
        assert [accepted for _, accepted, _ in answers(heard)] == [handed_over]
        assert (rig.step == Step.REST) != handed_over
        await heard.client.publish(COMMAND, payload, qos=1)
        await heard.client.publish(COMMAND, command("cmd-00002", "stop"), qos=1)
        await until(lambda: rig.of.driven.scan() or len(answers(heard)) == 3)
    assert rig.lines == ["ask", "ask"]
    deeds = [
        (deed.command, deed.place, deed.who, deed.parameters, deed.result) for deed in rig.of.driven.deeds
    ]
    assert deeds[-2:] == [
        ("start", "remote", "A. Miller", {"id": "cmd-00001"}, "accepted" if handed_over else "refused"),
        ("stop", "remote", "A. Miller", {"id": "cmd-00002"}, "accepted"),
    ]


async def test_a_start_that_nobody_took_in_time_is_called_failed_and_starts_nothing_when_scans_come_again(
    tmp_path, monkeypatch
):
    monkeypatch.setattr("controller.reporting.mqtt.remote.ANSWER_S", 0.2)
    monkeypatch.setattr("controller.reporting.mqtt.remote.BEGIN_S", 0.1)
    rig, port = Rig(tmp_path / "rig", remote=True), free_port()
    settings = mqtt(port, commands="allowed")
    async with broker(port), listening(port) as heard, site(tmp_path, settings, ask=rig.to_it.ask) as here:
        await until(lambda: here.publisher.link.online)
        ready(here)
        await heard.client.publish(COMMAND, command("cmd-00001", "start"), qos=1)
        await until(lambda: answers(heard))
        assert answers(heard)[0][:2] == ("cmd-00001", False)
        rig.of.driven.run(100)
        await asyncio.sleep(0)
    assert rig.step == Step.REST
    assert rig.to_it._waiting == {}


def test_no_reporter_takes_the_answer_to_one_before_it_for_its_own():
    """Both have asked once; the rig answers the first, which is gone."""
    numbers = []
    for _ in range(2):
        to_rig = Asked(lambda kind, number, *_: numbers.append(number))
        asking = to_rig.ask(type("C", (), {"command": "stop", "operator": "", "id": ""}), 1_000)
        asyncio.run(asyncio.wait_for(settled(to_rig, asking), 5))
        until_ms = machine_ms() + 2
        while machine_ms() < until_ms:
            pass
    assert numbers[0] < numbers[1]


async def settled(to_rig, asking):
    task = asyncio.create_task(asking)
    await asyncio.sleep(0)
    to_rig.close("gone")
    assert await task == ("gone",)
    assert to_rig._waiting == {}
