"""An episode of the search: what was done to the receiver and when; written as a scenario file."""

from copy import deepcopy
from typing import Any, NamedTuple

import yaml

from controller.campaign.scenario import Action, Deed
from controller.campaign.search.invariants import DELIVERS, Invariant
from controller.campaign.search.variants import AS_SET, VARIANTS
from controller.campaign.words import NEVER
from controller.image import JOG, Inputs
from controller.simulate.times import typed

SETTLES_MS, RESETS_MS, AGAIN_MS = 30_000, 60_000, 180_000
"""After all is mended: when somebody acknowledges, resets and starts, and does so once more."""
HAND_MS = 5_000
OTHERWISE = {
    "feed_variation": ("feed", "variation"),
    "vessel_start_kg": ("vessel", "start_kg"),
    "vessel_demand_kg_h": ("vessel", "demand_kg_h"),
}
"""Plant parameters that an episode may set, and their keys in a file."""


class Episode(NamedTuple):
    """All that makes a run: the same episode runs the same."""

    station: str
    seed: int  # of the plant's chance
    plant: tuple[tuple[str, float], ...]  # parameters set otherwise
    deeds: tuple[Deed, ...]  # in the order of time
    ends_ms: int  # when all is mended, or nothing follows
    delivers_ms: int  # then mended, reset and started, it delivers in so long; 0: it ends there
    variant: str = AS_SET
    delivers_kg: float = 0.0  # and at least so much falls from the second drain on, in as long again

    @property
    def tail(self) -> tuple[Deed, ...]:
        """What follows the end: all is mended and put back, then reset and started, twice."""
        if not self.delivers_ms:
            return ()
        done = [deed.action for deed in self.deeds]
        begins = [d.at_ms + (d.action.times - 1) * d.action.every_ms for d in self.deeds]
        end = max(self.ends_ms, *begins, 0) + 10  # what is mended does not come again
        modes = dict.fromkeys(a.name for a in done if a.kind == "fail")
        points = dict.fromkeys(a.name for a in done if a.kind == "set")
        first = [Action("mend", mode, 0) for mode in modes]
        first += [Action("set", point, int(Inputs._field_defaults[point])) for point in points]
        first.append(Action("command", "automatic", 1, source="socket"))
        seen = [Action("command", name, 1, source="socket") for name in ("acknowledge", "vessel_seen")]
        deeds = [Deed(end, action) for action in first] + [Deed(end + SETTLES_MS, action) for action in seen]
        for at_ms in (end + RESETS_MS, end + AGAIN_MS):
            deeds.append(Deed(at_ms, Action("command", "reset", 1)))
            deeds.append(Deed(at_ms + HAND_MS, Action("command", "start", 1)))
        return tuple(deeds)

    def words(self, to_ms: int) -> frozenset[str]:
        """Failure modes and commands in it up to a time: what may excuse a rule from then on."""
        kinds = ("fail", "command")
        return frozenset(d.action.name for d in self.deeds if d.at_ms <= to_ms and d.action.kind in kinds)


def written(episode: Episode, rule: Invariant, text: str) -> str:
    """The scenario file that shows what breaks a rule; `text` is its pattern at this station."""
    deeds = (*episode.deeds, *episode.tail)
    timeline: list[dict[str, Any]] = [_entry(deed) for deed in deeds]
    if rule.name == DELIVERS:
        falls = {"delivers_kg": f"at least {episode.delivers_kg:g}"}
        drains: dict[str, Any] = {"enters": "drain", "nth": 2, "waits": typed(episode.delivers_ms)}
        timeline.append(drains | ({"expect": [falls]} if episode.delivers_kg else {}))
    last_ms = deeds[-1].at_ms if deeds else 0
    document: dict[str, Any] = {
        "title": f"Found by search: {rule.name.replace('_', ' ')}",
        "why": rule.why[0].upper() + rule.why[1:] + ".",
        "station": episode.station,
        "seed": episode.seed,
    } | deepcopy(VARIANTS[episode.variant])
    for name, value in episode.plant:
        group, key = OTHERWISE[name]
        document.setdefault("plant", {}).setdefault(group, {})[key] = value
    document["timeline"] = timeline or [{"at": "10ms"}]
    lasts_ms = episode.delivers_ms if rule.name == DELIVERS else 1_000
    document["lasts"] = typed(max(episode.ends_ms - last_ms, 10) if text else lasts_ms)
    if text:
        document["never"] = [text]
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True, width=100)


def _entry(deed: Deed) -> dict[str, Any]:
    a = deed.action
    entry: dict[str, Any] = {"at": typed(deed.at_ms)}
    match a.kind:
        case "command":
            entry |= {"command": a.name} | ({"source": a.source} if a.source != "panel" else {})
        case "set":
            entry["set"] = [f"{a.name} {_shown(a.name, int(a.value))}"]
        case "mend":
            entry["mend"] = a.name
        case "power_cut":
            entry["power_cut"] = typed(int(a.value))
        case _:
            entry["fail"] = a.name
            if a.value < 1:
                entry["amount"] = a.value
            if a.grows_ms:
                entry["grows"] = typed(a.grows_ms)
            if a.during_ms < NEVER:
                entry["during"] = typed(a.during_ms)
            if a.times > 1:
                entry |= {"every": typed(a.every_ms), "times": a.times}
    return entry


def _shown(point: str, value: int) -> str:
    if point == "jog":
        return JOG[value] or "none"
    if isinstance(Inputs._field_defaults[point], bool):
        return "on" if value else "off"
    return str(value)
