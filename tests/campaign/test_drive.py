"""The timeline on a target of paper: steps and a tank that fills, ten milliseconds a scan."""

from pathlib import Path
from typing import Any

import numpy as np

from controller.campaign.conditions import Condition
from controller.campaign.drive import Driven, Driver
from controller.campaign.scenario import Action, Beat, Moment, Scenario
from controller.campaign.target import Chunk
from controller.campaign.words import NEVER
from controller.image import Inputs
from controller.sequence.steps import CONVEY, DRAW, REST

LEVEL = Inputs._fields.index("io_life")
PLAN = [(REST, 50), (DRAW, 30), (CONVEY, 100), (REST, 40), (DRAW, 10), (CONVEY, 10_000)]
"""Steps, and how many scans each lasts."""
STEPS = [step for step, scans in PLAN for _ in range(scans)]


class PaperTarget:
    """Counts scans into an input; keeps a list of what was done to it."""

    scan_ms = 10

    def __init__(self) -> None:
        self.scans, self.told = 0, list[tuple[int, str, float]]()

    @property
    def now_ms(self) -> int:
        return self.scans * 10

    def step(self) -> int:
        return STEPS[self.scans]

    def advance(self, scans: int) -> Chunk:
        first, begin = self.scans + 1, self.step()
        for _ in range(scans):
            self.scans += 1
            if self.step() != begin:
                break
        inputs = np.zeros((self.scans - first + 1, len(Inputs._fields)), dtype=np.int64)
        inputs[:, LEVEL] = range(first, self.scans + 1)
        return Chunk(first * 10, [0], inputs, {})

    def back_to(self, chunk: Chunk, scans: int) -> Chunk:
        self.scans = chunk.first_ms // 10 + scans - 1
        return chunk.first(scans)

    def point(self, name: str, value: int) -> None:
        self.told.append((self.now_ms, name, value))

    def fail(self, mode: str, amount: float, over_ms: int) -> None:
        self.told.append((self.now_ms, mode, amount))

    def stand(self, ms: int) -> None:
        self.scans += ms // 10

    def wake(self) -> None:
        self.told.append((self.now_ms, "wakes", 1))

    def reading(self, field: str) -> float:
        return float(self.scans)


def moment(
    at_ms: int | None = None, steps: tuple[int, ...] = (), over: int | None = None, **more: Any
) -> Moment:
    condition = None if over is None else Condition(str(over), lambda c: c, (), {})
    return Moment(
        at_ms, steps, condition, **{"nth": 1, "after_ms": 0, "waits_ms": 60_000, "text": "", **more}
    )


def driven(*beats: tuple[Moment, Action | None], lasts_ms: int = 10) -> tuple[Driven, PaperTarget]:
    target = PaperTarget()
    written = tuple(Beat(m, (a,) if a else (), (), 1) for m, a in beats)
    head: Any = None
    scenario = Scenario(Path("paper.yaml"), head, head, head, written, lasts_ms, (), None)

    def evaluate(condition: Condition, chunk: Chunk) -> list[bool]:
        return [bool(n % int(condition.text) == 0) for n in chunk.inputs[:, LEVEL]]

    return Driver(scenario, target, evaluate).drive(), target


def test_a_time_comes_to_the_scan() -> None:
    done, _ = driven((moment(at_ms=120), None), (moment(at_ms=3_000), None))
    assert done.moments == [120, 3_000]


def test_a_step_is_entered_the_nth_time_and_some_time_after_it() -> None:
    done, _ = driven((moment(steps=(CONVEY,)), None), (moment(steps=(CONVEY,), after_ms=70), None))
    assert done.moments == [800, 2_300 + 70]
    done, _ = driven((moment(steps=(DRAW, CONVEY), nth=2), None))
    assert done.moments == [2_200], "from one of the steps into another is no entry"


def test_a_condition_is_met_in_the_very_scan_within_a_block() -> None:
    done, target = driven((moment(over=70), None), (moment(over=70, nth=2), None), lasts_ms=50)
    assert done.moments == [700, 2_100], "true at once counts; the next times it must come true"
    scans = [int(n) for chunk in done.chunks for n in chunk.inputs[:, LEVEL]]
    assert scans == list(range(1, target.scans + 1)), "every scan once, also those run again"


def test_a_moment_that_does_not_come_ends_the_run() -> None:
    done, _ = driven((moment(over=10**6, waits_ms=5_000), None), (moment(at_ms=9_000), None))
    assert done.moments == [None, None]
    assert done.end_ms == 5_000


def test_a_button_is_pressed_when_it_is_due() -> None:
    _, target = driven((moment(at_ms=200), Action("command", "start", 1)))
    assert target.told[0] == (200, "start_pb", 1)


def test_a_failure_comes_grows_ends_and_comes_again() -> None:
    again = Action("fail", "line_blocked", 0.5, 0, 30, 100, 3)
    _, target = driven((moment(at_ms=200), again), lasts_ms=1_000)
    assert target.told == [
        (at + k * 100, "line_blocked", amount) for k in range(3) for at, amount in ((200, 0.5), (230, 0))
    ]


def test_a_button_is_held_and_let_go_and_a_request_stands_for_one_scan() -> None:
    press, ask = Action("command", "start", 1), Action("command", "halt", 1, source="remote")
    _, target = driven((moment(at_ms=100), press), (moment(at_ms=200), ask), lasts_ms=500)
    assert target.told == [
        (100, "start_pb", 1), (200, "halt_request", 1), (200, "request_remote", 1),
        (210, "halt_request", 0), (210, "request_remote", 0), (400, "start_pb", 0),
    ]  # fmt: skip


def test_what_lies_under_a_power_cut_is_no_scan() -> None:
    done, _ = driven((moment(at_ms=100), Action("power_cut", "", 500)), lasts_ms=20)
    assert [chunk.first_ms for chunk in done.chunks] == [10, 610]
    assert NEVER > done.end_ms == 620


def test_a_time_that_is_over_does_not_come() -> None:
    done, _ = driven((moment(steps=(CONVEY,)), None), (moment(at_ms=300), None))
    assert done.moments == [800, None]


def test_a_failure_ends_in_its_time_also_without_power() -> None:
    gust = Action("fail", "line_blocked", 1.0, 0, 30)
    _, target = driven(
        (moment(at_ms=100), gust), (moment(at_ms=110), Action("power_cut", "", 500)), lasts_ms=20
    )
    assert target.told == [(100, "line_blocked", 1.0), (130, "line_blocked", 0), (610, "wakes", 1)]


def test_what_ends_a_failure_leaves_the_one_alone_that_began_after_it() -> None:
    short, lasting = Action("fail", "line_blocked", 1.0, 0, 300), Action("fail", "line_blocked", 0.5)
    _, target = driven((moment(at_ms=100), short), (moment(at_ms=200), lasting), lasts_ms=500)
    assert target.told == [(100, "line_blocked", 1.0), (200, "line_blocked", 0.5)]


def test_a_button_that_is_pressed_again_is_held_anew() -> None:
    press = Action("command", "start", 1)
    _, target = driven((moment(at_ms=100), press), (moment(at_ms=200), press), lasts_ms=500)
    assert target.told == [(100, "start_pb", 1), (200, "start_pb", 1), (500, "start_pb", 0)]
