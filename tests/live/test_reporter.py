"""The reporter as a process of its own: killed, frozen, hung, started again; nothing acknowledged is lost."""

import asyncio
import os
import random
import signal
import sys
from contextlib import asynccontextmanager

import pytest
from audit.test_audit import deed
from reporter.rig_end import opening
from reporter.test_books import anchor, written
from test_journal import event

from controller.audit.check import check
from controller.live import reporter as live
from controller.live.reporter import Heard, Reporter, ReporterError
from controller.scan.child import UNKNOWN, Child, started

KILLS = int(os.environ.get("REPORTER_KILLS", "4"))
PATIENCE_S = 60.0


class Rig:
    """Puts records in; keeps what it is told."""

    def __init__(self, run, room=20_000):
        self.screen, self.how, self.lost, self.asked = [], [], [], []
        self.again = asyncio.Event()
        heard = Heard(self.screen.append, self.restarted, lambda *a: self.lost.append(a), self.asked.append)
        self.reporter = Reporter(opening(run), heard, room)
        self.count = 0

    def restarted(self, how):
        self.how.append(how)
        self.again.set()

    def put(self, count=1):
        for _ in range(count):
            self.count += 1
            number = self.count
            self.reporter.put(deed(number) if number % 10 == 0 else event()._replace(what=str(number)))

    async def written(self):
        there = asyncio.Event()
        self.reporter.when_written(there.set)
        await asyncio.wait_for(there.wait(), PATIENCE_S)

    async def started_again(self):
        await asyncio.wait_for(self.again.wait(), PATIENCE_S)
        self.again.clear()


@asynccontextmanager
async def running(run, **given):
    rig = Rig(run, **given)
    await rig.reporter.start()
    try:
        yield rig
    finally:
        rig.good = await rig.reporter.close("SIGTERM")


def complete(run, count):
    """Every record once, in order, in the book where it belongs; the audit chain whole."""
    in_journal, in_audit = written(run)
    assert in_journal == [number for number in range(1, count + 1) if number % 10]
    assert in_audit == [number for number in range(1, count + 1) if number % 10 == 0]
    found = check(run, anchor(run))
    assert (found.problem, found.anchored) == ("", len(in_audit))


@pytest.fixture(autouse=True)
def soon_again(monkeypatch):
    monkeypatch.setattr(live, "FIRST_PAUSE_S", 0.01)
    monkeypatch.setattr(live, "LONGEST_PAUSE_S", 0.05)


@pytest.mark.realtime
async def test_killed_at_random_instants_it_loses_and_doubles_nothing(tmp_path):
    """`REPORTER_KILLS` says how often."""
    chance = random.Random(1)
    async with running(tmp_path) as rig:
        for turn in range(KILLS):
            rig.put(chance.randrange(400))
            kind = ("at once", "while it writes", "when it has written", "while it starts")[turn % 4]
            if kind == "while it writes":
                taken = rig.reporter._waiting.acknowledged
                for _ in range(2_000):
                    await asyncio.sleep(0)
                    if rig.reporter._waiting.acknowledged > taken:
                        break
            elif kind == "when it has written":
                await rig.written()
            rig.reporter.process.kill()
            rig.put(chance.randrange(400))
            if kind == "while it starts":
                first = rig.reporter.process
                while rig.reporter.process is first:  # noqa: ASYNC110
                    await asyncio.sleep(0)
                rig.reporter.process.kill()
            await rig.started_again()
    assert (rig.good, rig.reporter.problems) == (True, [])
    complete(tmp_path, rig.count)
    assert all("was ended by signal 9" in how for how in rig.how)
    assert len(rig.how) == KILLS


@pytest.mark.realtime
async def test_frozen_it_keeps_nobody_waiting_and_memory_is_bounded(tmp_path):
    async with running(tmp_path, room=2_000) as rig:
        os.kill(rig.reporter.process.pid, signal.SIGSTOP)
        for _ in range(100):
            rig.put(30)
            rig.reporter.tell("figures", {})
            await asyncio.sleep(0)
        assert len(rig.reporter._waiting) == 1_650, "of the last 1500 the deeds alone"
        assert rig.reporter._waiting.refused == 1_350
        buffered = rig.reporter._channel._transport.get_write_buffer_size()
        assert buffered <= 2 * live.CHUNK_BYTES
        os.kill(rig.reporter.process.pid, signal.SIGCONT)
        await rig.written()
    assert rig.lost == [(1_350, live.NO_ROOM)]
    assert rig.how == []
    assert not rig.good
    assert rig.reporter.problems == [f"1350 records were lost: {live.NO_ROOM}"]
    in_journal, in_audit = written(tmp_path)
    assert sorted(in_journal + in_audit) == [*range(1, 1_501), *range(1_510, 3_001, 10)]


@pytest.mark.realtime
async def test_one_that_hangs_is_ended_and_another_goes_on(tmp_path, monkeypatch):
    monkeypatch.setattr(live, "SILENT_S", 4.0)
    async with running(tmp_path) as rig:
        os.kill(rig.reporter.process.pid, signal.SIGSTOP)
        rig.put(20)
        await rig.started_again()
    assert "it said nothing for 4 s; started again" in rig.how[0]
    complete(tmp_path, 20)


@pytest.mark.realtime
async def test_at_the_end_all_is_written_also_where_it_was_just_killed(tmp_path):
    async with running(tmp_path) as rig:
        rig.put(500)
        rig.reporter.process.kill()
        rig.put(500)
    assert (rig.good, rig.reporter.problems) == (True, [])
    complete(tmp_path, 1_000)


async def test_what_cannot_be_written_is_said_at_the_start(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ReporterError, match=r"file.* cannot be written"):
        await Rig(tmp_path / "file").reporter.start()


async def test_one_that_cannot_be_started_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(live.sys, "executable", str(tmp_path / "python"))
    with pytest.raises(ReporterError, match="cannot be started: No such file or directory"):
        await Rig(tmp_path).reporter.start()


async def test_no_file_of_the_folder_it_is_started_in_takes_the_place_of_one_of_its_own(
    tmp_path, monkeypatch
):
    (tmp_path / "socket.py").write_text("raise SystemExit(7)")
    monkeypatch.chdir(tmp_path)
    async with running(tmp_path / "run") as rig:
        pass
    assert rig.good


async def test_what_ends_others_ends_no_child(tmp_path):
    with (tmp_path / "kept").open("w") as kept:
        signals = "signal.SIGINT, signal.SIGTERM, signal.SIGHUP"
        said = f"import os, signal; [os.kill(os.getpid(), number) for number in ({signals})]; os._exit(3)"
        child = await started([sys.executable, "-c", said], kept.fileno())
        assert await child.ended(PATIENCE_S) == 3
    assert not signal.pthread_sigmask(signal.SIG_BLOCK, [])


async def test_a_child_whose_exit_code_somebody_else_took_has_ended(tmp_path):
    before = signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    try:
        with (tmp_path / "kept").open("w") as kept:
            child = await started([sys.executable, "-c", ""], kept.fileno())
            assert await child.ended(PATIENCE_S) == UNKNOWN
        child.kill()
    finally:
        signal.signal(signal.SIGCHLD, before)


async def test_a_child_inherits_its_file_and_says_how_it_ended(tmp_path):
    with (tmp_path / "kept").open("w") as kept:
        said = f"import os; os.write({kept.fileno()}, b'here'); os._exit(3)"
        child = await started([sys.executable, "-c", said], kept.fileno())
        assert isinstance(child, Child)
        assert await child.ended(PATIENCE_S) == 3
    child.kill()
    assert (tmp_path / "kept").read_text() == "here"
