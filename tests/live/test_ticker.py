"""The beat: never before its deadline, what was missed is counted, and no delay adds up."""

import asyncio
import sys

import pytest

from controller.scan import realtime
from controller.scan.lateness import Lateness
from controller.scan.ticker import Ticker

PERIOD_MS = 2
BOTH = pytest.mark.parametrize("portable", [False, True], ids=["kernel", "loop"])


@BOTH
async def test_ticks_come_at_whole_periods_and_count_what_they_missed(portable):
    loop = asyncio.get_running_loop()
    before_s, deadlines = loop.time(), 0
    async with asyncio.timeout(10), Ticker(PERIOD_MS, portable=portable) as ticker:
        for _ in range(20):
            tick = await ticker.next()
            deadlines += 1 + tick.missed
            assert loop.time() - before_s >= deadlines * PERIOD_MS / 1_000
            assert tick.late_us >= 0


@BOTH
async def test_a_scan_that_takes_too_long_finds_its_deadlines_missed_and_the_next_on_time(portable):
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(10), Ticker(20, portable=portable) as ticker:
        await ticker.next()
        until_s = loop.time() + 0.07
        while loop.time() < until_s:  # a scan that does not yield
            pass
        late = await ticker.next()
        assert late.missed >= 2
        assert late.late_us >= 40_000
        then = loop.time()
        await ticker.next()
        assert loop.time() - then > 0.001  # it waited: the deadline was not one that had passed


@BOTH
async def test_who_is_always_late_still_gives_the_loop_its_turn(portable):
    turns = 0

    def count():
        nonlocal turns
        turns += 1
        loop.call_soon(count)

    loop = asyncio.get_running_loop()
    async with asyncio.timeout(10), Ticker(PERIOD_MS, portable=portable) as ticker:
        loop.call_soon(count)
        for _ in range(5):
            until_s = loop.time() + 0.005
            while loop.time() < until_s:
                pass
            before = turns
            await ticker.next()
            assert turns > before


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="timerfd is of Linux")
async def test_on_linux_it_is_the_timer_of_the_kernel():
    async with Ticker(PERIOD_MS) as ticker:
        assert ticker.timer == "timerfd"


@BOTH
async def test_at_a_rate_periods_are_shorter(portable):
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(10), Ticker(1_000, rate=100, portable=portable) as ticker:
        start_s, deadlines = loop.time(), 0
        while deadlines < 5:
            deadlines += 1 + (await ticker.next()).missed
        assert 0.04 < loop.time() - start_s < 5


def test_percentiles_are_those_of_what_was_taken():
    told = Lateness()
    for k in range(1, 1_001):
        told.take(k * 100, missed=int(k > 990))
    assert told.as_document() == {
        "scans": 1_000, "p50_us": 50_010, "p99_us": 99_010, "p99.9_us": 99_910,
        "max_us": 100_000, "missed_deadlines": 10,
    }  # fmt: skip


def test_without_a_scan_nothing_is_told():
    assert Lateness().percentile(50) is None
    assert Lateness().said() == "no scan"


def test_a_schedule_that_is_not_permitted_is_said_and_the_run_goes_on(monkeypatch):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(realtime.os, "sched_setscheduler", refused, raising=False)
    monkeypatch.setattr(realtime.os, "SCHED_FIFO", 1, raising=False)
    monkeypatch.setattr(realtime.os, "sched_param", int, raising=False)
    monkeypatch.setattr(realtime.gc, "freeze", lambda: None)
    monkeypatch.setattr(realtime.sys, "setswitchinterval", lambda s: None)
    assert realtime.settle(fifo=False) == ""
    said = realtime.settle(fifo=True)
    assert "not permitted (Operation not permitted" in said
    assert "goes on without" in said
