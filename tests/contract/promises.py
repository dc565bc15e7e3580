"""The promises of `controller.port.IoPort`, as they are tried on a bench; each is a function of one."""

import random
import statistics
import time
from collections.abc import Awaitable, Callable

import pytest
from contract.benches import IMAGES, SCAN_MS, WATCHDOG_MS, WIRED, Bench

from controller.image import Inputs, Outputs
from controller.port import NEVER_MS, IoError, is_safe, safe

RUNNING = Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True, run_lamp=True)
OTHERWISE = Outputs(flap_open_cmd=True, pulse_1_cmd=True, fault_lamp=True, horn=True)
A_WAIT_S = 0.01


async def begun(bench: Bench) -> None:
    """As a rig begins: an image, and safe outputs in answer."""
    await bench.link()
    await bench.scan_over()
    bench.port.read()
    bench.port.write(Outputs())
    await bench.scan_over()
    assert bench.port.read().image_age_ms < NEVER_MS


async def runs(bench: Bench, outputs: Outputs) -> None:
    """One scan that wants these outputs."""
    bench.port.read()
    bench.port.write(outputs)
    await bench.scan_over()


async def an_image_is_whole(bench: Bench) -> None:
    """1"""
    await begun(bench)
    counted: dict[int, int] = {}
    for k in (random.Random(3).randrange(2) for _ in range(60)):
        bench.show(IMAGES[k])
        await bench.scan_over()
        seen = bench.port.read()
        bench.port.write(Outputs())
        points = {name: int(getattr(seen, name)) for name in WIRED}
        assert points in IMAGES, "a mix of two"
        assert points == IMAGES[k], "not the newest"
        assert counted.setdefault(seen.io_life, k) == k, "counted as another"
    assert len(counted) > 20


async def no_input_is_older_than_said(bench: Bench) -> None:
    """2"""
    await begun(bench)
    for pause_ms in (SCAN_MS, 40, 150, SCAN_MS):
        bench.port.read()
        bench.port.write(RUNNING)
        await bench.pass_(pause_ms)
        assert pause_ms <= bench.port.read().image_age_ms <= pause_ms + SCAN_MS


async def an_image_that_is_not_refreshed_stays_and_grows_old(bench: Bench) -> None:
    """3"""
    assert bench.port.read() == Inputs(image_age_ms=NEVER_MS)
    bench.port.write(Outputs())
    await begun(bench)
    bench.show(IMAGES[1])
    for _ in range(2):
        await runs(bench, Outputs())
    seen = bench.port.read()
    assert (seen.vacuum_ua, seen.jog, seen.start_request) == (13_000, 0, False)
    await bench.mute()
    for k in range(1, 20):
        bench.port.write(RUNNING)
        await bench.scan_over()
        again = bench.port.read()
        assert again == seen._replace(image_age_ms=again.image_age_ms)
        assert k * SCAN_MS <= again.image_age_ms <= (k + 1) * SCAN_MS
    await bench.speak()


async def outputs_are_taken_whole_and_the_newest_counts(bench: Bench) -> None:
    """4"""
    await begun(bench)
    rng = random.Random(5)
    written = {Outputs()}
    for _ in range(40):
        pair = [Outputs(*(rng.random() < 0.5 for _ in Outputs._fields)) for _ in range(2)]
        written |= {*pair}
        for outputs in pair:
            bench.port.write(outputs)
        await bench.scan_over()
        assert bench.held == pair[1]
        bench.port.read()
    assert {*bench.history} <= written


async def neither_call_waits(bench: Bench) -> None:
    """5"""
    await begun(bench)
    if bench.linked:
        await bench.mute()
    took_s = []
    for _ in range(15):
        before_s = time.perf_counter()
        bench.port.read()
        bench.port.write(RUNNING)
        took_s.append(time.perf_counter() - before_s)
        await bench.scan_over()
    if bench.linked:
        await bench.speak()
    assert statistics.median(took_s) < A_WAIT_S


async def a_link_that_was_lost_stays_lost(bench: Bench) -> None:
    """6"""
    await begun(bench)
    for how, lose in bench.losses.items():
        await runs(bench, RUNNING)
        assert bench.held == RUNNING, how
        bench.port.write(RUNNING)  # too late to go out before the loss
        await lose()
        bench.history.clear()  # what it held until its own watchdog was over
        for _ in range(3):
            await bench.exchange()
            assert is_safe(bench.held), f"{how}: what was written before goes out after"
        for _ in range(3):
            assert bench.port.read().image_age_ms == NEVER_MS, how
            bench.port.write(OTHERWISE)
            await bench.scan_over()
            assert bench.held == safe(OTHERWISE), how
        await runs(bench, Outputs(fault_lamp=True))
        assert all(map(is_safe, bench.history)), how
        assert bench.port.read().image_age_ms < NEVER_MS, how
        await runs(bench, OTHERWISE)
        assert bench.held == OTHERWISE, how


async def without_write_the_outputs_drop(bench: Bench) -> None:
    """7"""
    await begun(bench)
    await runs(bench, RUNNING)
    for _ in range(WATCHDOG_MS // SCAN_MS + 2):
        bench.port.read()
        await bench.scan_over()
    assert bench.held == Outputs()
    for outputs in (Outputs(), Outputs(), RUNNING):
        await runs(bench, outputs)
    assert bench.held == RUNNING
    bench.port.close()
    await bench.pass_(WATCHDOG_MS + 20)
    assert bench.held == Outputs()


async def the_life_counter_moves_with_each_write_and_only_then(bench: Bench) -> None:
    """8"""
    await begun(bench)
    for _ in range(10):
        before = bench.life
        await runs(bench, RUNNING)
        assert bench.life != before
        before = bench.life
        await bench.scan_over()
        assert bench.life == before


async def a_closed_port_says_so(bench: Bench) -> None:
    """9"""
    await begun(bench)
    bench.port.close()
    bench.port.close()
    for call in (bench.port.read, lambda: bench.port.write(RUNNING)):
        with pytest.raises(IoError, match="closed") as caught:
            call()
        assert not caught.value.retry


Promise = Callable[[Bench], Awaitable[None]]
OF_A_LINK: tuple[Promise, ...] = (
    an_image_that_is_not_refreshed_stays_and_grows_old,
    the_life_counter_moves_with_each_write_and_only_then,
)
OF_ALL: tuple[Promise, ...] = (
    an_image_is_whole,
    no_input_is_older_than_said,
    outputs_are_taken_whole_and_the_newest_counts,
    neither_call_waits,
    a_link_that_was_lost_stays_lost,
    without_write_the_outputs_drop,
    a_closed_port_says_so,
)
PROMISES = (*OF_ALL, *OF_A_LINK)
