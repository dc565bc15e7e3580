"""The reporter at work: what it says to the rig, what it does without a disk, and how it ends."""

import asyncio
import errno
import os
from itertools import pairwise

import pytest
from audit.test_audit import deed
from reporter.rig_end import MILL, opening, reporting
from reporter.test_books import anchor
from test_journal import cycle, event

from controller.audit.check import Checked, check
from controller.history import figures as history
from controller.reporter import process, told
from controller.reporter.lines import read
from controller.reporting.journal import Journal, JournalError, each_line, read_cycles

NO_ROOM = OSError(errno.ENOSPC, "No space left on device")


def numbers(run):
    return [line.n for line in each_line(run)]


async def test_it_says_what_is_on_the_disk_and_a_new_one_knows_it(tmp_path):
    async with reporting(opening(tmp_path)) as rig:
        assert await rig.hear("ready") == [0]
        rig.put(1, event())
        rig.put(2, deed(2))
        rig.put(3, cycle(3))
        await rig.hear("taken", 3)
    async with reporting(opening(tmp_path)) as rig:
        assert await rig.hear("ready") == [3]
        rig.put(3, cycle(3))
        rig.put(4, cycle(4))
        await rig.hear("taken", 4)
    assert read_cycles(tmp_path) == [cycle(3), cycle(4)]
    assert check(tmp_path, None).lines == 1


async def test_all_that_was_sent_before_the_rig_was_gone_is_written(tmp_path):
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        for number in range(1, 301):
            rig.put(number, event())
    assert numbers(tmp_path) == list(range(1, 301))


async def test_how_long_a_rig_ran_is_on_the_disk_although_it_was_killed_long_after_its_last_line(tmp_path):
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        rig.put(1, event())
        rig.say("ran", 60_000)
        rig.say("ran", 28_800_000)
    assert history.read(tmp_path).alarms.ms == 28_800_000


async def test_a_rig_that_never_says_anything_leaves_nothing(tmp_path):
    async with reporting(None):
        pass
    assert not list(tmp_path.iterdir())


async def test_what_cannot_be_opened_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    async with reporting(opening(tmp_path / "file")) as rig:
        (why,) = await rig.hear("no")
    assert "file: the run folder cannot be written" in why


async def test_the_reporter_of_a_rig_that_crashed_is_waited_for(tmp_path):
    async with reporting(opening(tmp_path)) as orphan:
        await orphan.hear("ready")
        orphan.put(1, deed(1))
        async with reporting(opening(tmp_path)) as rig:
            _, said = await rig.hear("problem", "books")
            assert "another process writes it" in said
            orphan.put(2, deed(2))  # after the one that waits has looked at the books
            orphan.writer.close()
            assert await rig.hear("ready") == [2]
            rig.put(3, deed(3))
            await rig.hear("taken", 3)
    assert check(tmp_path, anchor(tmp_path)) == Checked(3, "", 0, 3)


async def test_another_reporter_at_the_same_books_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "HELD_S", 0.1)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        async with reporting(opening(tmp_path)) as other:
            (why,) = await other.hear("no")
    assert "another process writes it" in why


async def test_without_a_disk_nothing_is_acknowledged_until_there_is_one_again(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        with monkeypatch.context() as patched:
            patched.setattr(Journal, "commit", raising(JournalError("no room")))
            rig.put(1, event())
            assert await rig.hear("problem") == ["journal", "no room"]
            rig.put(2, cycle(2))
            rig.say("figures", {})
        await rig.hear("problem over", "journal")
        await rig.hear("taken", 2)
    assert [found for found in rig.heard if found[0] == "problem"] == [("problem", ["journal", "no room"])]
    assert numbers(tmp_path) == [1, 2]


async def test_a_deed_waits_for_the_disk_and_what_came_later_waits_behind_it(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", raising(NO_ROOM))
            rig.put(1, deed(1))
            rig.put(2, event())
            (_, why) = await rig.hear("problem", "disk")
            assert "No space left on device" in why
        await rig.hear("taken", 2)
    assert check(tmp_path, None).lines == 1
    assert ("taken", [1]) not in rig.heard


async def test_at_the_end_without_a_disk_a_deed_is_not_called_written(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        monkeypatch.setattr(os, "write", raising(NO_ROOM))
        rig.put(1, deed(1))
        rig.put(2, event())
        await rig.hear("problem")
        rig.say("end", "the time is over")
        rig.heard += [read(raw) for raw in (await rig.reader.read()).splitlines()]
        monkeypatch.undo()
    assert max(values[0] for kind, values in rig.heard if kind in ("ready", "taken")) == 0
    async with reporting(opening(tmp_path)) as rig:
        assert await rig.hear("ready") == [0]


async def test_a_deed_of_its_own_waits_for_the_disk_too(tmp_path, monkeypatch):
    reporters = []

    async def nobody(*given):
        reporters.append(given[4])
        return told.Told()

    monkeypatch.setattr(process, "told_by", nobody)
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", raising(NO_ROOM))
            reporters[0].deed(deed(1))
            reporters[0].deed(deed(2))
            await rig.hear("problem", "own deeds")
        await rig.hear("problem over", "own deeds")
    assert check(tmp_path, None).lines == 2


async def test_a_record_that_found_no_memory_is_given_again(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "BEAT_S", 0.01)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        with monkeypatch.context() as patched:
            patched.setattr(Journal, "add", raising(MemoryError("none left")))
            rig.put(1, event())
            await rig.hear("problem", "disk")
        await rig.hear("taken", 1)
    assert numbers(tmp_path) == [1]
    assert not [kind for kind, _ in rig.heard if kind == "never"]


async def test_a_deed_that_no_disk_will_take_is_said_and_holds_nothing_up(tmp_path):
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        rig.put(1, deed(1, parameters={"why": "x" * 70_000}))
        rig.put(2, cycle(2))
        await rig.hear("taken", 2)
    ((number, why),) = [values for kind, values in rig.heard if kind == "never"]
    assert number == 1
    assert "at most 65536 are written" in why
    assert read_cycles(tmp_path) == [cycle(2)]


NOT_TEXT = "\ud800"


@pytest.mark.parametrize(
    "wrong",
    [
        event("NO_VACUUM", priority=3)._replace(detail=NOT_TEXT),
        event()._replace(at_ms=2**63),
    ],
)
async def test_a_record_that_none_can_write_ends_no_reporter_and_holds_none_up(wrong, tmp_path):
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        rig.put(1, event())
        rig.put(2, wrong)
        rig.put(3, cycle(3))
        rig.put(4, deed(4))
        await rig.hear("taken", 4)
        assert [values[0] for kind, values in rig.heard if kind == "never"] == [2]
    async with reporting(opening(tmp_path)) as rig:
        assert await rig.hear("ready") == [4]
    assert numbers(tmp_path) == [1, 2]
    assert read_cycles(tmp_path) == [cycle(3)]
    assert check(tmp_path, None).lines == 1


async def test_of_many_that_wait_the_rig_hears_as_they_are_written(tmp_path):
    """One that says nothing for long is taken for hung."""
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        for number in range(1, 1_001):
            rig.put(number, event())
        await rig.hear("taken", 1_000)
    taken = [0, *(values[0] for kind, values in rig.heard if kind == "taken")]
    assert max(after - before for before, after in pairwise(taken)) <= process.TOGETHER


async def test_cycles_and_faults_that_wait_go_to_the_disk_together(tmp_path, monkeypatch):
    commits, right = [], Journal.commit
    monkeypatch.setattr(Journal, "commit", lambda journal: (commits.append(journal._newest), right(journal)))
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        for number in range(1, 101):
            rig.put(number, cycle(number) if number % 2 else event("NO_VACUUM", priority=3))
        await rig.hear("taken", 100)
    assert len(commits) < 50
    assert numbers(tmp_path) == [*range(1, 101)]


@pytest.mark.parametrize(
    ("end", "said"),
    [(("end", "SIGTERM"), "SIGTERM"), (None, "the controller ended without a word")],
)
async def test_who_is_told_is_told_the_end_when_all_is_on_the_disk(end, said, tmp_path, monkeypatch):
    seen = []

    class Publishing(told.Told):
        async def leave(self, why, within_s):
            seen.append((why, len(numbers(tmp_path))))

    async def instead(*_):
        return Publishing()

    monkeypatch.setattr(process, "told_by", instead)
    async with reporting(opening(tmp_path)) as rig:
        await rig.hear("ready")
        rig.put(1, event())
        if end:
            rig.say(*end)
    assert seen == [(said, 1)]


async def test_a_service_that_cannot_be_had_is_said_with_the_way_out(tmp_path):
    station = tmp_path / "mill"
    station.mkdir()
    for name in ("receiver.yaml", "points.yaml"):
        (station / name).write_text((MILL / name).read_text())
    taken = await asyncio.start_server(lambda reader, writer: writer.close(), "127.0.0.1", 0)
    async with taken:
        port = taken.sockets[0].getsockname()[1]
        (station / "services.yaml").write_text(f"metrics:\n  serve: true\n  port: {port}\n")
        async with reporting(opening(tmp_path / "run", station=str(station))) as rig:
            (why,) = await rig.hear("no")
    assert f"127.0.0.1:{port} cannot be listened on" in why
    assert "set another port in services.yaml" in why


def raising(error):
    def fails(*_, **__):
        raise error

    return fails
