"""Both clocks keep the promises of `Clock`."""

import time
from datetime import datetime, timedelta

import pytest

from controller.clock import SteppedClock, WallClock


def test_the_stepped_clock_lands_on_the_deadline_and_never_goes_back():
    clock = SteppedClock()
    start = clock.date()
    clock.sleep_until(250)
    clock.sleep_until(100)
    assert clock.now_ms() == 250
    assert clock.date() - start == timedelta(milliseconds=250)


@pytest.mark.parametrize("make", [SteppedClock, lambda: WallClock(rate=1000)])
def test_a_deadline_is_reached_or_passed_and_time_goes_on(make):
    clock = make()
    before = clock.now_ms()
    clock.sleep_until(before + 100)
    assert clock.now_ms() >= before + 100
    clock.sleep_until(before)
    assert clock.now_ms() >= before + 100


@pytest.mark.parametrize("rate", [0, -1, float("nan")])
def test_a_rate_that_is_not_over_zero_is_refused(rate):
    with pytest.raises(ValueError, match="must be over 0"):
        WallClock(rate)


def test_the_time_that_a_machine_slept_passes_too(monkeypatch):
    """An image from before must look old when it wakes: CLOCK_MONOTONIC stands still meanwhile (clock_gettime(2))."""
    awake_s, slept_s = [1_000.0], [0.0]
    clocks = {time.CLOCK_MONOTONIC: lambda: awake_s[0], time.CLOCK_BOOTTIME: lambda: awake_s[0] + slept_s[0]}
    monkeypatch.setattr("controller.clock.time.clock_gettime", lambda clock: clocks[clock]())
    clock = WallClock()
    slept_s[0] = 60.0
    assert clock.now_ms() == 60_000


@pytest.mark.parametrize("rate", [1.0, 20.0])
def test_a_clock_that_was_set_says_so_once_and_its_date_follows(rate, monkeypatch):
    boot_s, set_s = [1_000.0], [0.0]

    class Dates(datetime):
        @classmethod
        def now(cls, tz):
            return cls.fromtimestamp(boot_s[0] + set_s[0], tz)

    monkeypatch.setattr("controller.clock.time.clock_gettime", lambda clock: boot_s[0])
    monkeypatch.setattr("controller.clock.datetime", Dates)
    clock = WallClock(rate)
    start = clock.date()
    boot_s[0] += 60
    assert clock.set_by() == timedelta(0)
    set_s[0] = 0.9
    assert clock.set_by() == timedelta(0)
    for to_s in (3_600.0, -7_200.0):
        before, was_s = clock.date(), set_s[0] if to_s < 0 else 0.0
        set_s[0] = to_s
        assert clock.set_by() == timedelta(seconds=to_s - was_s)
        assert clock.set_by() == timedelta(0)
        assert clock.date() - before == timedelta(seconds=to_s - was_s)
    assert clock.now_ms() == 60_000 * rate
    assert clock.date() - start == timedelta(seconds=60 * rate - 7_200)
