"""What is said over the panel socket: requests, refusals, lines that are none, and what is held."""

import asyncio
import os
import pwd
import socket
import time

import pytest
from panel.callers import HOLD, START, STATUS, Caller, until
from panel.rigs import BenchRig, LonelyPlant, NotingRig

from controller.panel.caller import LoginNames
from controller.panel.messages import UnreadableError, read
from controller.panel.server import Limits, Panel

IN_MANUAL = {"manual": True, "manual_ms": 5_000, "warning_ms": 3_000, "jog_renew_ms": 500}
BAD = {
    "no JSON": b"start\n",
    "an empty line": b"\n",
    "a list": b'["ask", "command"]\n',
    "a bare number": b"7\n",
    "no ask": b'{"command": "start"}\n',
    "an unknown ask": b'{"ask": "open"}\n',
    "an unknown key": b'{"ask": "status", "why": 1}\n',
    "an unknown command": b'{"ask": "command", "command": "strt"}\n',
    "a number for a word": b'{"ask": "command", "command": 5}\n',
    "a word for a number": b'{"ask": "fail", "mode": "line_blocked", "amount": "1"}\n',
    "an amount over 1": b'{"ask": "fail", "mode": "line_blocked", "amount": 1.01}\n',
    "not a number": b'{"ask": "fail", "mode": "line_blocked", "amount": NaN}\n',
    "a huge whole number": b'{"ask": "force", "point": "level_free", "area_clear_by": "me too", "value": 1' + b"0" * 5_000 + b"}\n",
    "a time below nothing": b'{"ask": "fail", "mode": "line_blocked", "amount": 1.0, "for_ms": -5}\n',
    "a force without a person": b'{"ask": "force", "point": "level_free", "value": 0}\n',
    "a name that cannot be seen": b'{"ask": "command", "command": "stop", "on_behalf_of": "   "}\n',
    "a name that moves the cursor": b'{"ask": "command", "command": "stop", "on_behalf_of": "\\u001b[2J"}\n',
    "bytes that are no text": b"\xff\xfe\x00{}\n",
    "a half pair of UTF-16": b'{"ask": "command", "command": "\\ud800"}\n',
    "a deep nest": b"[" * 60_000 + b"\n",
    "a deep nest of objects": b'{"ask":' * 8_000 + b"1\n",
    "many keys": b"{" + b",".join(b'"k%d":1' % k for k in range(6_000)) + b"}\n",
    "many keys twice": b"{" + b",".join([b'"ask":"status"'] * 4_000) + b',"x":1}\n',
    "a long word": b'{"ask": "command", "command": "' + b"s" * 60_000 + b'"}\n',
}  # fmt: skip


async def test_a_command_reaches_the_rig_and_every_answer_says_where_it_stands(mill):
    rig = NotingRig(failures={"line_blocked": 0.5}, forced={"level_free": 0})
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(START)
        caller.close()
    assert rig.asked == ["start"]
    assert answer["answer"] == "accepted"
    assert answer["status"]["failures"] == {"line_blocked": 0.5}
    assert answer["status"]["forced"] == {"level_free": 0}


async def test_who_asks_is_the_login_name_of_the_other_process_and_nothing_that_it_says(mill):
    me = pwd.getpwuid(os.getuid()).pw_name
    rig = NotingRig(**IN_MANUAL)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        await caller.ask(START)
        await caller.ask(b'{"ask": "command", "command": "stop", "on_behalf_of": "bob"}\n')
        answer = await caller.ask(b'{"ask": "command", "command": "stop", "who": "bob"}\n')
        await caller.ask(b'{"ask": "fail", "mode": "line_blocked", "amount": 1.0}\n')
        await caller.ask(b'{"ask": "hold", "output": "purge_cmd", "area_clear_by": "Ada"}\n')
        caller.close()
    assert answer["answer"] == "error"
    assert rig.people[:3] == [(me, ""), (f"{me} for bob", ""), (me, "")]
    assert rig.people[5] == (me, "Ada")
    assert rig.asked[5] == "jog purge_cmd"


def test_a_user_whom_the_system_has_no_name_for_is_told_by_number():
    here, there = socket.socketpair()
    with here, there:
        names = LoginNames()
        names._names = {}
        assert names.of(here) == f"user {os.getuid()}"


async def test_a_refusal_has_the_words_of_the_sequence(mill):
    rig = BenchRig()
    rig.bench.force(safety_chain_healthy=False)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        rig.forcing.put({"safety_chain_healthy": 0})
        answer = await caller.ask(START)
        caller.close()
    assert answer["answer"] == "refused"
    assert answer["reasons"] == ["the safety chain is open"]


async def test_a_hold_or_force_that_is_refused_is_told_to_the_rig_which_writes_it_down(mill):
    rig = NotingRig()
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        await caller.ask(HOLD)
        await caller.ask(b'{"ask": "force", "point": "flap", "value": 1, "area_clear_by": "A. Miller"}\n')
        caller.close()
    hold, force = rig.refusals
    assert hold == ("hold", ("manual mode is off: ask for manual first",), {"output": "flap_open_cmd"})
    assert (force[0], force[2]) == ("force", {"point": "flap", "value": 1})


async def test_a_plant_alone_takes_failures_and_nothing_else(mill):
    plant = LonelyPlant()
    async with Panel(mill, plant, plant=True) as panel:
        caller = await Caller.to(panel)
        for line in (START, HOLD, b'{"ask": "points"}\n'):
            assert (await caller.ask(line))["answer"] == "refused"
        answer = await caller.ask(b'{"ask": "fail", "mode": "line_blocked", "amount": 0.5, "for_ms": 5000}\n')
        assert answer["status"]["failures"] == {"line_blocked": 0.5}
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
async def test_a_line_that_is_no_request_is_answered_and_the_next_is_served(mill, bad):
    rig = NotingRig()
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(bad)
        assert answer["answer"] == "error"
        assert 5 < len(answer["reasons"][0]) < 1_000
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()
    assert rig.asked == []


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
def test_the_worst_line_costs_the_loop_little(bad):
    """CPU time of this process; a scan of 10 ms has to live beside it. Generous: machines are busy."""
    begun_s = time.process_time()
    for _ in range(10):
        with pytest.raises(UnreadableError):
            read(bad)
    assert (time.process_time() - begun_s) / 10 < 0.010


async def test_a_scan_that_never_comes_is_told(mill):
    class Hung(NotingRig):
        async def request(self, command, who="", to_hold=""):
            await asyncio.Event().wait()

    async with Panel(mill, Hung(), limits=Limits(answer_s=0.05)) as panel:
        caller = await Caller.to(panel)
        answer = await caller.ask(START)
        assert answer["answer"] == "error"
        assert "no scan took it" in answer["reasons"][0]
        caller.close()


async def test_a_mistake_in_the_rig_ends_neither_the_connection_nor_the_panel(mill):
    class Wrong(NotingRig):
        async def request(self, command, who="", to_hold=""):
            return 1 // 0

    async with Panel(mill, Wrong()) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(START))["reasons"] == [
            "not done: ZeroDivisionError: integer division or modulo by zero"
        ]
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


# ---- what is held ends with the connection ----


async def test_what_is_held_ends_with_its_connection(mill):
    rig = NotingRig(**IN_MANUAL)
    async with Panel(mill, rig) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(HOLD))["answer"] == "accepted"
        assert rig.asked == ["automatic", "manual", "jog flap_open_cmd"]
        caller.close()
        await until(lambda: rig.asked[-1] == "jog ")


async def test_who_holds_and_falls_silent_is_disconnected_sooner_than_others(mill):
    """A process that was stopped keeps its connection: the force must not stay with it."""
    rig = NotingRig(manual=True)
    force = b'{"ask": "force", "point": "level_free", "value": 0, "area_clear_by": "A. Miller"}\n'
    async with Panel(mill, rig, limits=Limits(held_idle_s=0.05)) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(force))["answer"] == "accepted"
        assert await caller.is_closed()
        await until(lambda: rig.asked == ["force {'level_free': 0}", "force {}"])
        caller.close()
