"""What is allowed in a map and deserves a word: Modbus moves no more than a range of one table at once."""

from typing import NamedTuple

from controller.modbus.point_map import PointMap
from controller.modbus.requests import READ_MAX, WRITE_MAX, grouped

SOURCE = "Modbus application protocol V1.1b3: a request reads or writes one range of one table"


class MapRemark(NamedTuple):
    """A word on a map; `warns` where something could be put right."""

    warns: bool
    what: str
    follows: str


def remarks(found: PointMap) -> list[MapRemark]:
    """Of outputs that may be torn, and of inputs that are not of one instant."""
    asks = found.is_client("controller")
    written = len(grouped(found.outputs, WRITE_MAX)) if asks else 1  # else refused: `map_checks`
    taken = len(grouped(found.inputs, READ_MAX if asks else WRITE_MAX))
    said = []
    if written > 1:
        torn = (
            "put them side by side in one table. A module that acts on each request holds outputs of two "
            "scans in between, and until its watchdog time is over where the link breaks there; only one "
            f"that waits for life.controller takes all of them at once ({found.file})"
        )
        said.append(MapRemark(True, f"outputs go out in {written} requests", torn))
    if taken > 1:
        apart = "points may be some milliseconds apart; the age of the image counts from the first"
        what = f"inputs come in {taken} requests, not of one instant"
        said.append(MapRemark(False, what, f"{apart} ({found.file})"))
    return said
