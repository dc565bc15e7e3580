"""The table of the cycles on the screen."""

from types import SimpleNamespace

from controller.simulate.tables import _mean, _row


def record(start_ms, **steps):
    return SimpleNamespace(
        number=1, start_ms=start_ms, ms=sum(steps.values()), step_ms=lambda *names: sum(steps.get(n, 0) for n in names),
        vacuum_peak_pa=None, delivered_kg=8.0, air_nm3=0.4, fill_ended_by="time", kind="batch", result="complete",
    )  # fmt: skip


def test_a_start_after_an_hour_is_said_in_hours():
    assert _row(record(86_382_000), [])[1] == "23:59:42"
    assert _row(record(3_599_000), [])[1] == "59:59"


def test_the_mean_of_a_step_that_no_cycle_took_is_a_dash_and_of_one_that_some_took_a_number():
    row = _mean([record(0, SEAL=1_000, PURGE=0), record(0, SEAL=1_000, CONVEY=500)], ["seal", "purge", "convey"])
    assert row[2:5] == ["1000", "-", "250"]
