"""What may happen to a receiver, drawn by chance: failures, people, disturbances, power."""

import math
from collections.abc import Sequence
from random import Random
from typing import NamedTuple

from controller.campaign.scenario import Action
from controller.campaign.scenario_file import COMMANDS
from controller.campaign.words import NEVER
from controller.image import JOG
from controller.sequence.presets import Presets
from controller.sequence.steps import FAULT, REST
from controller.settings import Station
from controller.simulate.parts_fitted import has_part
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters

PLACES = ("panel", "panel", "panel", "socket", "socket", "remote")
POINTS = (  # point, value, longest time until it is put back
    ("safety_chain_healthy", 0, 20_000),
    ("stop_healthy", 0, 5_000),
    ("start_pb", 1, 60_000),
    ("reset_pb", 1, 60_000),
    ("remote_control", 1, 120_000),
    ("image_age_ms", 300, 3_000),
    ("scans_late", 25, 1_000),
    ("plant_enable", 0, 120_000),
)
CUTS_MS = (10, 20, 50, 200, 1_000, 5_000, 30_000, 120_000)
AMOUNTS = (1.0, 1.0, 1.0, 0.75, 0.5, 0.3, 0.1)


class Drawn(NamedTuple):
    """Something to be done, so long after now."""

    after_ms: int
    action: Action


def whole(ms: float) -> int:
    """Whole scans."""
    return max(10, int(ms) // 10 * 10)


def spread(draw: Random, low_ms: float, high_ms: float) -> int:
    """A time between, small ones as likely as large ones."""
    return whole(math.exp(draw.uniform(math.log(low_ms), math.log(high_ms))))


class Chance:
    """
    Draws what happens in one episode.

    Args:
        draw: Its chance.
        modes: Failure modes that the station can have.
        left_ms: When the episode ends.
    """

    def __init__(self, draw: Random, modes: Sequence[str], ends_ms: int) -> None:
        self.draw, self._ends_ms = draw, ends_ms
        self._modes = draw.sample(
            list(modes), min(len(modes), draw.choice((1, 2, 4, 8)))
        )  # theirs meet again
        self.calm_ms = draw.choice((4_000, 15_000, 40_000, 90_000))
        self._people, self._power = draw.choice((0.1, 0.3, 0.5)), draw.choice((0.0, 0.0, 0.08))

    def happens(self, step: int, now_ms: int) -> list[Drawn]:
        """What is done now, and what follows from it by itself; sometimes two things in one scan."""
        draw = self.draw
        found: list[Drawn] = []
        for _ in range(draw.choice((1, 1, 1, 2))):
            found += self._one(step, now_ms)
        return found

    def _one(self, step: int, now_ms: int) -> list[Drawn]:
        draw = self.draw
        if step in (FAULT, REST) and draw.random() < 0.6:
            return self._mends(step)
        chance = draw.random()
        if chance < self._power:
            return [Drawn(0, Action("power_cut", "", draw.choice(CUTS_MS)))]
        if chance < self._power + self._people:
            return self._person()
        return [self._failure(now_ms)]

    def _mends(self, step: int) -> list[Drawn]:
        """Somebody resets and starts, with or without a look at what is wrong."""
        draw = self.draw
        found = [Drawn(0, Action("mend", mode, 0)) for mode in self._modes if draw.random() < 0.5]
        if step == FAULT:
            found.append(Drawn(0, Action("command", "reset", 1, source=draw.choice(PLACES[:5]))))
        order = draw.choice(("start", "start", "start", "empty", "clean"))
        source = "panel" if order == "start" else "socket"
        return [*found, Drawn(spread(draw, 50, 5_000), Action("command", order, 1, source=source))]

    def _person(self) -> list[Drawn]:
        draw = self.draw
        kind = draw.random()
        if kind < 0.25:
            point, value, longest_ms = draw.choice(POINTS)
            back_ms = spread(draw, 10, longest_ms)
            return [
                Drawn(0, Action("set", point, value)),
                Drawn(back_ms, Action("set", point, 1 if value == 0 else 0)),
            ]
        if kind < 0.32:
            held = draw.randrange(1, len(JOG))
            jogs = [
                Action("command", "manual", 1, source="socket"),
                Action("set", "jog", held),
                Action("set", "jog", 0),
            ]
            times = [0, spread(draw, 10, 8_000), 0]
            times[2] = times[1] + spread(draw, 50, 10_000)
            ends = Drawn(
                times[2] + spread(draw, 10, 20_000), Action("command", "automatic", 1, source="socket")
            )
            return [*(Drawn(at, a) for at, a in zip(times, jogs, strict=True)), ends]
        name = draw.choice((*COMMANDS, "stop", "stop", "halt", "halt", "start", "start"))
        return [Drawn(0, Action("command", name, 1, source=draw.choice(PLACES)))]

    def _failure(self, now_ms: int) -> Drawn:
        draw = self.draw
        during = spread(draw, 20, 120_000) if draw.random() < 0.7 else NEVER
        grows = spread(draw, 100, 60_000) if draw.random() < 0.2 else 0
        times, every = 1, 0
        if during < 10_000 and draw.random() < 0.3:
            times, every = draw.randint(2, 6), during + spread(draw, 20, 10_000)
            if now_ms + times * every >= self._ends_ms:
                times, every = 1, 0
        mode, amount = draw.choice(self._modes), draw.choice(AMOUNTS)
        return Drawn(0, Action("fail", mode, amount, grows, during, every, times))


def modes_of(station: Station, presets: Presets) -> list[str]:
    """The failure modes that a station can have."""
    return [mode.id for mode in CATALOGUE if has_part(mode, presets, station.wired)]


def plant_of(draw: Random, plant: PlantParameters) -> tuple[tuple[str, float], ...]:
    """Feed, stock and demand of an episode."""
    kg = plant.vessel_capacity_m3 * plant.material_bulk_density_kg_m3
    return (
        ("feed_variation", round(plant.feed_variation * draw.choice((0.0, 1.0, 1.0, 1.5)), 4)),
        ("vessel_start_kg", round(kg * draw.choice((0.0, 0.0, 0.1, 0.3)), 1)),
        ("vessel_demand_kg_h", round(plant.vessel_demand_kg_h * draw.choice((0.5, 1.0, 1.0, 2.0)))),
    )
