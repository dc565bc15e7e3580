"""One reporter after the other, as the rig sees them: what ends one, what keeps the next from being started."""

import asyncio
import errno
import os
import socket

import pytest
from live.test_reporter import PATIENCE_S, Rig, complete, running
from reporter.rig_end import RigEnd
from test_journal import event

from controller.live import reporter as live
from controller.live.reporter import ReporterError
from controller.reporter.lines import read
from controller.reporter.process import report

NO_FILE = OSError(errno.EMFILE, "Too many open files")
NO_THREAD = RuntimeError("can't start new thread")


class InProcess:
    """In place of a child: a function of its end of the channel, in this process."""

    pid = 0

    def __init__(self, life, fileno):
        self._end = socket.socket(fileno=fileno)
        self._task = asyncio.create_task(life(self._end))
        self._task.add_done_callback(lambda _: self._end.close())
        self.killed = False

    def kill(self):
        self.killed = self.killed or not self._task.done()
        self._task.cancel()

    async def ended(self, within_s):
        done, _ = await asyncio.wait([self._task], timeout=within_s)
        return (-9 if self.killed else 0) if done else None


class Lives:
    """What the next children do; an error: it cannot be started. The last of them is repeated."""

    def __init__(self, *lives):
        self.lives, self.children = [*lives], []

    async def started(self, command, keeps):
        life = self.lives.pop(0) if len(self.lives) > 1 else self.lives[0]
        if isinstance(life, Exception):
            raise life
        self.children.append(InProcess(life, os.dup(keeps)))
        return self.children[-1]


@pytest.fixture
def lives(monkeypatch):
    def are(*given):
        found = Lives(*given)
        monkeypatch.setattr(live, "started", found.started)
        return found

    monkeypatch.setattr(live, "FIRST_PAUSE_S", 0.001)
    monkeypatch.setattr(live, "LONGEST_PAUSE_S", 0.001)
    return are


def saying(*said, until="open"):
    """Says it is ready, and this; ends when it hears the word."""

    async def life(end):
        rig = RigEnd(*await asyncio.open_unix_connection(sock=end.dup()))
        await rig.hear("open")
        for words in (("ready", 0), *said):
            rig.say(*words)
        await rig.writer.drain()
        if until != "open":
            await rig.hear(until)
        rig.writer.close()

    return life


async def silent(end):
    await asyncio.Event().wait()


async def passed(what):
    """Other tasks run until it is so."""
    async with asyncio.timeout(PATIENCE_S):
        while not what():  # noqa: ASYNC110
            await asyncio.sleep(0)


async def test_why_none_can_be_started_is_said_while_it_lasts_and_each_reason_once(
    tmp_path, lives, monkeypatch
):
    lives(saying(), *[NO_THREAD] * 3, NO_FILE, NO_FILE, NO_THREAD, report)
    async with running(tmp_path) as rig:
        rig.put(20)
        await rig.started_again()
    cannot = "records: nothing is written: the process that writes the records cannot be started"
    assert rig.screen == [f"{cannot}: {why}" for why in (NO_THREAD, NO_FILE.strerror, NO_THREAD)]
    assert rig.how == ["it ended by itself with code 0; started again, restart 1"]
    assert (rig.good, rig.reporter.problems) == (True, [])
    complete(tmp_path, 20)


async def test_without_a_file_for_the_channel_the_next_try_has_one(tmp_path, lives, monkeypatch):
    its = lives(saying(until="figures"), report)
    async with running(tmp_path) as rig:
        right, tries = socket.socketpair, []

        def full():
            tries.append(1)
            if len(tries) < 3:
                raise NO_FILE
            return right()

        monkeypatch.setattr(live.socket, "socketpair", full)
        rig.put(20)
        rig.reporter.tell("figures", {})
        await rig.started_again()
    assert len(its.children) == 2
    assert [line.rpartition(": ")[2] for line in rig.screen] == [NO_FILE.strerror]
    complete(tmp_path, 20)


async def test_one_that_refuses_is_said(tmp_path, lives):
    async def refuses(end):
        rig = RigEnd(*await asyncio.open_unix_connection(sock=end.dup()))
        await rig.hear("open")
        rig.say("no", "another process writes it")
        await rig.writer.drain()
        rig.writer.close()

    lives(saying(), refuses, refuses, report)
    async with running(tmp_path) as rig:
        await rig.started_again()
    assert rig.screen == ["records: nothing is written: another process writes it"]


async def test_the_end_waits_for_no_pause_between_two_of_them(tmp_path, lives, monkeypatch):
    lives(saying(), report)
    monkeypatch.setattr(live, "CLOSE_S", 5.0)
    monkeypatch.setattr(live, "FIRST_PAUSE_S", 1_000.0)
    async with running(tmp_path) as rig:
        rig.put(20)
        begun, paused = asyncio.Event(), rig.reporter._paused

        async def pausing(pause_s):
            asyncio.get_running_loop().call_soon(begun.set)
            await paused(pause_s)

        rig.reporter._paused = pausing
        await begun.wait()
    assert (rig.good, rig.reporter.problems) == (True, [])
    complete(tmp_path, 20)


async def test_a_trouble_of_one_that_is_gone_is_over_where_the_next_has_none(tmp_path, lives):
    lives(saying(("problem", "journal", "no room")), report)
    async with running(tmp_path) as rig:
        rig.put(20)
        await rig.started_again()
    assert rig.screen == ["records: no room"]
    assert (rig.good, rig.reporter.problems) == (True, [])


async def test_a_record_that_can_never_be_written_is_told_once_and_makes_no_good_end(tmp_path, lives):
    lives(saying(("never", 1, "too long")), saying(("never", 1, "too long"), ("taken", 1), until="end"))
    async with running(tmp_path) as rig:
        rig.put(1)
        await rig.started_again()
    assert rig.lost == [(1, "too long")]
    assert rig.screen == ["records: no disk will ever take them: too long"]
    assert (rig.good, rig.reporter.problems) == (False, ["1 records were lost: no disk will ever take them"])


async def takes_nothing(end):
    rig = RigEnd(*await asyncio.open_unix_connection(sock=end.dup()))
    rig.say("ready", 0)
    while (raw := await rig.reader.readline()) and (line := read(raw))[0] != "end":
        if line[0] == "event":
            rig.say("never", line[1][0], "no such")
            rig.say("taken", line[1][0])
    rig.writer.close()


async def test_of_many_that_can_never_be_written_each_is_told(tmp_path, lives):
    lives(takes_nothing)
    async with running(tmp_path) as rig:
        rig.put(3)
        await passed(lambda: rig.reporter._waiting.acknowledged == 3)
    assert rig.lost == 3 * [(1, "no such")]


async def test_what_tells_of_a_lost_record_and_is_lost_too_is_not_told_of(tmp_path, lives):
    lives(takes_nothing)
    async with running(tmp_path) as rig:
        told = rig.reporter._heard.lost
        rig.reporter._heard = rig.reporter._heard._replace(
            lost=lambda *a: (told(*a), rig.reporter.put(event()))
        )
        rig.put(1)
        await passed(lambda: rig.reporter._waiting.acknowledged == 2)
    assert rig.lost == [(1, "no such")]
    assert rig.reporter.problems == ["2 records were lost: no disk will ever take them"]


async def test_what_found_no_room_is_told_before_the_end_though_there_never_was_room_again(
    tmp_path, lives, monkeypatch
):
    monkeypatch.setattr(live, "CLOSE_S", 0.1)
    lives(saying(until="end"))
    async with running(tmp_path, room=4) as rig:
        rig.put(10)
    assert rig.lost == [(6, live.NO_ROOM)]


async def test_an_answer_to_one_that_is_gone_is_not_given_to_the_next(tmp_path, lives):
    heard = []

    async def hears(end):
        rig = RigEnd(*await asyncio.open_unix_connection(sock=end.dup()))
        rig.say("ready", 0)
        await rig.hear("end")
        heard.extend(kind for kind, _ in rig.heard)
        rig.writer.close()

    its = lives(saying(), hears)
    async with running(tmp_path) as rig:
        await passed(lambda: its.children[0]._task.done() and rig.reporter._channel is None)
        rig.reporter.answer(1, ["accepted by the one before"])
        await rig.started_again()
        rig.reporter.tell("figures", {})
    assert heard == ["open", "figures", "end"]


async def test_one_that_does_not_open_in_time_is_not_left_behind(tmp_path, lives, monkeypatch):
    its = lives(silent)
    monkeypatch.setattr(live, "OPEN_S", 0.01)
    with pytest.raises(ReporterError, match="did not open them within"):
        await Rig(tmp_path).reporter.start()
    assert its.children[0].killed
    assert its.children[0]._task.done()
