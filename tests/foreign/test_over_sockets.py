"""
Scenarios over real sockets, several at once: one of each step and each failure of the link on the foreign
controller, its mistakes, and our own controller.

Every pair of processes has a port of its own; what the foreign controller does by itself is that of
`test_box.py`, where time is virtual.
"""

import os
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import pytest
from foreign.over_sockets import box, judged, own
from foreign.test_box import FOLDER, NAMED_BY, OF_THE_LINK, OF_THE_STEPS

pytestmark = pytest.mark.realtime
AT_ONCE = 2 if os.environ.get("ALL_OVER_THE_WIRE") else 4
"""Pairs of processes; with so many of our own, four starve each other of their scans on two processors."""
NAMES = (*OF_THE_STEPS.values(), *OF_THE_LINK)
FILES = [FOLDER / f"{name}.yaml" for name in NAMES]
GROUPS = [FILES[k::5] for k in range(5)]
OURS = NAMES if os.environ.get("ALL_OVER_THE_WIRE") else (NAMES[0], OF_THE_LINK[0])
"""A step and a failure of the link; with ALL_OVER_THE_WIRE set all of them."""
Runs = dict[str, Future[dict[str, dict[str, Any]]]]


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Runs]:
    place = tmp_path_factory.mktemp("stations")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        asked: Runs = {f"group {k}": pool.submit(judged, files, box()) for k, files in enumerate(GROUPS)}
        for mistake, name in NAMED_BY.items():
            asked[mistake] = pool.submit(judged, [FOLDER / f"{name}.yaml"], box(mistake), "failed")
        for name in OURS:
            file = FOLDER / f"{name}.yaml"
            asked[f"our {name}"] = pool.submit(judged, [file], own(file, place))
        yield asked


@pytest.mark.parametrize("k", range(len(GROUPS)))
def test_the_foreign_controller_passes_over_the_wire(runs: Runs, k: int) -> None:
    results = runs[f"group {k}"].result()
    assert len(results) == len(GROUPS[k])
    for result in results.values():
        bad = [v for v in result["verdicts"] if v["good"] is not True]
        assert (result["verdict"], result["broken"], bad) == ("passed", "", [])
        assert result["foreign"]


@pytest.mark.parametrize("mistake", NAMED_BY)
def test_each_mistake_is_named_over_the_wire(runs: Runs, mistake: str) -> None:
    (result,) = runs[mistake].result().values()
    assert result["verdict"] == "failed", result["broken"]


@pytest.mark.parametrize("name", OURS)
def test_our_own_controller_passes_over_the_wire(runs: Runs, name: str) -> None:
    (result,) = runs[f"our {name}"].result().values()
    assert result["verdict"] == "passed", (result["broken"], result["verdicts"])
