"""
Ten kills of each process of a live run, at random instants, while a broker of its own process and a listener look on.

One state folder for all starts, as at a machine whose power fails ten times: whatever somebody was told stays in the
journal, nothing in it is missing or twice, and in the end the listener has all of it, each once by its number.
"""

import asyncio
import os
import random
import signal
from collections import Counter
from pathlib import Path

import pytest
from live.test_run_told import PATIENCE_S, heard, intact, reporter_of, run, runs
from reporting.mqtt.brokered import free_port, listening, until

from controller.records import EventRecord
from controller.reporting.journal import each_line, read_marks
from controller.reporting.mqtt.embedded import broker

pytestmark = pytest.mark.realtime
KILLS = int(os.environ.get("PROCESS_KILLS", "10"))
MOST = 100
"""Messages until the next kill: a start tells some 60 at once."""


def settings(port: int) -> str:
    return f"mqtt: {{publish: true, port: {port}, site: mill, unit: R-101, client_id: r101, tag_floor_ms: 50}}\n"


async def killed_again_and_again(folder: Path, port: int, listener) -> None:
    """Reporter and rig of each start but the last, which is ended by a signal; until the listener has all of it."""
    chance = random.Random(20260105)

    async def some_messages() -> None:
        enough = len(listener.got) + chance.randrange(MOST)
        await until(lambda: len(listener.got) >= enough, PATIENCE_S)

    def restarts() -> int:
        return sum(one.told["id"] == "REPORTER_RESTARTED" for one in listener.of("event"))

    for turn in range(KILLS + 1):
        words = ("--start", "--rate", "3", "--state", folder / "kept")
        async with run(folder, *words, services=settings(port)) as rig:
            await heard(rig, "power-up")
            reporter = reporter_of(rig.pid)
            await some_messages()
            if turn < KILLS:
                before = restarts()
                os.kill(reporter, signal.SIGKILL)
                if turn % 3 == 0:  # else the rig goes while it has none
                    await until(lambda before=before: restarts() > before, PATIENCE_S)
                    await some_messages()
                    reporter = reporter_of(rig.pid)
                rig.kill()
            else:
                rig.send_signal(signal.SIGTERM)
            await asyncio.wait_for(rig.wait(), PATIENCE_S)
            if turn % 2 == 0:  # else the next rig finds the reporter of this one still at work
                await until(lambda gone=reporter: not runs(gone), PATIENCE_S)
    newest = read_marks(folder / "kept" / "journal")["newest", ""]
    await until(lambda: any(one.told["seq"] == newest for one in lines_of(listener.got)), PATIENCE_S)


def lines_of(got):
    """Those that are lines of the journal."""
    return [one for one in got if one.kind in ("event", "cycle")]


def without_a_gap(lines) -> None:
    """What the records themselves say: in each start a step begins where the one before ended, and no cycle is missing."""
    steps, cycles = {}, Counter()
    for line in lines:
        if not isinstance(line.record, EventRecord):
            cycles[line.boot] += 1
            assert line.record.number == cycles[line.boot]
        elif line.record.id == "STEP_CHANGED":
            before, now = line.record.what.split(" -> ")
            assert before == steps.get(line.boot, "REST"), line
            steps[line.boot] = now
    assert steps


def nothing_is_lost(folder: Path, got) -> None:
    """`got`: all that the listener got, in order."""
    journal = folder / "kept" / "journal"
    ids = intact(journal)
    assert ids.count("POWER_UP") == KILLS + 1
    assert ids[-1] == "CONTROLLER_ENDED"
    lines = {line.n: line for line in each_line(journal)}
    twice = Counter((line.boot, line.record) for line in lines.values() if isinstance(line.record, EventRecord))
    assert set(twice.values()) == {1}, twice.most_common(3)
    without_a_gap(lines.values())
    told: dict[int, dict] = {}
    for one in lines_of(got):
        assert told.setdefault(one.told["seq"], one.told) == one.told, "one number, two messages"
    assert list(told) == list(lines), "in order, none missing, none that the journal does not have"
    for n, message in told.items():
        assert message["boot"] == lines[n].boot
        if isinstance(lines[n].record, EventRecord):
            assert (message["id"], message["what"]) == (lines[n].record.id, lines[n].record.what)
    by_number: dict[tuple, dict] = {}
    for one in got:  # retained ones too, over every kill of a reporter
        if one.kind in ("status", "state", "alarm", "tags") and one.told.get("said") != "the connection was lost":
            key = (one.topic, one.told["boot"], one.told["seq"])
            assert by_number.setdefault(key, one.told) == one.told, "one number, two messages"


async def test_ten_kills_of_each_process_lose_nothing_that_was_acknowledged_and_double_nothing(tmp_path):
    port = free_port()
    async with broker(port), listening(port) as listener:
        await killed_again_and_again(tmp_path, port, listener)
    nothing_is_lost(tmp_path, listener.got)
