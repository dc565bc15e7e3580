"""How long a live controller ran is known to the minute, also where it says nothing more and is then killed."""

from live.rigs import MILL, Driven

from controller.live.reporting import Reporting
from controller.live.run_ask import read_ask

NOTHING_ELSE = {"lasts": None, "out": None, "state": None, "io": "simulated", "connect": None, "rate": 1.0}


def test_a_rig_at_rest_that_tells_nobody_says_each_minute_that_it_runs(tmp_path):
    driven, told = Driven(), []
    ask = read_ask(MILL, **NOTHING_ELSE, fifo=False, start=False)
    reporting = Reporting(ask, tmp_path, "0", "simulated", lambda line: None)
    reporting.reporter.tell = lambda kind, *values: told.append((kind, *values))
    reporting.attach(driven.rig)
    for _ in range(150):
        driven.scan(missed=99)
        reporting.scanned()
    assert [each for each in told if each[0] == "ran"] == [("ran", 60_000), ("ran", 120_000)]
