"""The health view, modelled on NAMUR NE 107."""

import pytest
from reporting.told import told_run

from controller.events import INTERLOCK_IDS
from controller.reporting.station_now import Reading, StationNow
from controller.reporting.views.ne107 import (
    FAILS,
    OF_OTHERS,
    OUTSIDE,
    WEARS,
    Health,
    device_status,
    signal_health,
)

WELL = StationNow("SUCTION", "CONVEY", order="run", runs_on=True)
VACUUM = Reading("PT-101", "vacuum_ua", "body vacuum", "4-20 mA", "good", 12_000, 25.0, "kPa vacuum")


def test_numbers_are_those_of_the_public_model_and_the_order_is_f_c_s_m():
    """OPC 10000-100, DeviceHealthEnumeration: NORMAL 0 to MAINTENANCE_REQUIRED 4; the order is from memory."""
    assert [(health.number, str(health)) for health in sorted(Health, key=lambda h: h.number)] == [
        (0, "N"), (1, "F"), (2, "C"), (3, "S"), (4, "M"),
    ]  # fmt: skip
    assert [str(h) for h in sorted(Health, key=lambda h: -h.gravity)] == ["F", "C", "S", "M", "N"]


def test_every_interlock_has_one_place():
    named = [*FAILS, *OUTSIDE, *WEARS, *OF_OTHERS]
    assert len(named) == len(set(named))
    assert set(named) == set(INTERLOCK_IDS)


@pytest.mark.parametrize(
    ("signal", "letter"), [("good", "N"), ("doubtful", "S"), ("failed", "F"), ("old", "F"), ("unknown", "F")]
)
def test_a_signal_is_as_well_as_ne_43_has_it(signal, letter):
    assert signal_health(VACUUM._replace(signal=signal), simulated=False) == letter


def test_forced_and_simulated_are_a_check_of_function_unless_the_signal_failed():
    assert signal_health(VACUUM._replace(forced=True), simulated=False) == "C"
    assert signal_health(VACUUM, simulated=True) == "C"
    assert signal_health(VACUUM._replace(forced=True, signal="failed"), simulated=True) == "F"
    assert signal_health(VACUUM._replace(forced=True, signal="doubtful"), simulated=False) == "C"


def test_the_gravest_wins_and_names_all_that_is_as_grave():
    grave = [
        (WELL._replace(acting=("NO_VACUUM",)), "F", ("NO_VACUUM",)),
        (WELL._replace(forced={"level_free": 0}), "C", ("level_free",)),
        (WELL._replace(acting=("FILTER_DP_HIGH", "FLAP_SLOW")), "S", ("FILTER_DP_HIGH", "FLAP_SLOW")),
        (WELL._replace(due=("flap_strokes",)), "M", ("flap_strokes",)),
        (WELL._replace(acting=("LEVEL_HIGH", "NO_MATERIAL")), "N", ()),
    ]
    for place, (now, letter, because) in enumerate(grave):
        assert device_status(now, [VACUUM], simulated=False) == (letter, because)
        for lighter, _, _ in grave[place + 1 :]:
            both = lighter._replace(
                acting=now.acting + lighter.acting,
                forced={**now.forced, **lighter.forced},
                due=now.due + lighter.due,
            )
            assert device_status(both, [VACUUM], simulated=False).health == letter


def test_a_fault_that_stands_counts_after_its_cause_has_gone():
    fault = StationNow("FAULT", "FAULT", told="FLAP_DISAGREES")
    assert device_status(fault, [], simulated=False) == ("F", ("FLAP_DISAGREES",))
    assert device_status(fault._replace(told="SAFETY_CHAIN_OPEN"), [], simulated=False).health == "N"


def test_manual_mode_and_a_failure_put_in_are_a_check_of_function():
    assert device_status(WELL._replace(manual=True), [], simulated=False) == ("C", ("manual mode",))
    assert device_status(WELL._replace(failures={"source_dead": 1.0}), [], simulated=True).because == (
        "source_dead", "simulated",
    )  # fmt: skip


def test_a_run_that_nothing_disturbs_is_well_but_for_being_simulated():
    run = told_run()
    before = [now for at_ms, now in run.nows if at_ms < run.totals.trips[0].at_ms - 20_000]
    letters = {str(device_status(now, run.readings[0], simulated=False).health) for now in before}
    assert letters == {"N"}
    assert device_status(before[-1], run.readings[0], simulated=True) == ("C", ("simulated",))
