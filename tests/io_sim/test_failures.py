"""Each failure mode shows at the inputs as its text says, and is gone when healed."""

from collections.abc import Callable
from pathlib import Path

import pytest

from controller.image import Inputs, Outputs
from io_sim import failures
from io_sim.plant import Plant

REST, DRAW = Outputs(), Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)
AIR, SEALED, OPEN = DRAW._replace(feed_cmd=False), Outputs(vent_close_cmd=True), Outputs(flap_open_cmd=True)
KPA = 160  # uA of vacuum
BAR = 1_600  # uA of supply
Script = list[tuple[Outputs, int]]
Sees = Callable[[Inputs, Inputs], bool]

# id: commands to give, and what the failed plant's last inputs show beside those of a healthy one
SHOWS: dict[str, tuple[Script, Sees]] = {
    "flap_sticks_closed": ([(OPEN, 1_000)], lambda bad, good: good.flap_open_fb and bad.flap_closed_fb),
    "flap_slow": ([(OPEN, 1_000)], lambda bad, good: good.flap_open_fb and not bad.flap_open_fb),
    "flap_closed_switch_stuck_off": (
        [(REST, 10)],
        lambda bad, good: good.flap_closed_fb and not bad.flap_closed_fb,
    ),
    "flap_open_switch_stuck_off": (
        [(OPEN, 1_000)],
        lambda bad, good: good.flap_open_fb and not bad.flap_open_fb,
    ),
    "product_on_seat": (
        [(OPEN, 1_000), (REST, 1_000)],
        lambda bad, good: good.flap_closed_fb and not bad.flap_closed_fb and not bad.flap_open_fb,
    ),
    "level_probe_stuck_covered": ([(REST, 10)], lambda bad, good: good.level_free and not bad.level_free),
    "vacuum_broken_wire": ([(AIR, 2_000)], lambda bad, good: good.vacuum_ua > 4_500 and bad.vacuum_ua == 0),
    "vacuum_frozen": ([(AIR, 2_000)], lambda bad, good: good.vacuum_ua > 4_500 and bad.vacuum_ua == 4_000),
    "supply_falls": ([(AIR, 3_000)], lambda bad, good: bad.supply_air_ua < good.supply_air_ua - 2 * BAR),
    "supply_half_shut": ([(AIR, 4_000)], lambda bad, good: bad.supply_air_ua < good.supply_air_ua - BAR),
    "line_blocked": ([(DRAW, 2_000)], lambda bad, good: bad.vacuum_ua > good.vacuum_ua + 40 * KPA),
    "feed_empty": ([(DRAW, 5_000)], lambda bad, good: bad.vacuum_ua < good.vacuum_ua - 7 * KPA),
    "inlet_hose_off": ([(AIR, 3_000)], lambda bad, good: 4_000 + KPA / 2 < bad.vacuum_ua < 4_000 + 1.2 * KPA),
    "vent_stuck_shut": (
        [(REST, 500)],  # starts under vacuum with the line plugged, see below
        lambda bad, good: bad.vacuum_ua > good.vacuum_ua + 10 * KPA,
    ),
    "vent_stuck_open": ([(AIR, 3_000)], lambda bad, good: bad.vacuum_ua < good.vacuum_ua - 0.5 * KPA),
    "purge_valve_stuck_open": ([(DRAW, 5_000)], lambda bad, good: bad.vacuum_ua < good.vacuum_ua - KPA / 2),
    "source_dead": ([(AIR, 3_000)], lambda bad, good: good.vacuum_ua > 4_500 and bad.vacuum_ua < 4_010),
    "source_valve_passing": ([(SEALED, 3_000)], lambda bad, good: bad.vacuum_ua > good.vacuum_ua + KPA / 2),
    "pulse_valve_stuck_open": ([(AIR, 4_000)], lambda bad, good: bad.vacuum_ua < good.vacuum_ua - KPA),
    "filter_blinded": ([(AIR, 4_000)], lambda bad, good: bad.vacuum_ua < good.vacuum_ua - KPA),
}


def played(quiet, script: Script, failure: str | None) -> Inputs:
    plant = Plant(quiet)
    if failure == "vent_stuck_shut" or script == SHOWS["vent_stuck_shut"][0]:
        plant.set_state(body_pa=50_000.0, vacuum_seen_pa_v=51_000.0, plug_kg=1.0, vent_open=0.0)
    inputs = plant.advance(REST, 0)
    if failure:
        plant.fail(failure)
    for outputs, ms in script:
        inputs = plant.advance(outputs, ms)
    return inputs


@pytest.mark.parametrize("failure", SHOWS)
def test_failure_shows_at_the_inputs(quiet, failure):
    script, sees = SHOWS[failure]
    bad, good = played(quiet, script, failure), played(quiet, script, None)

    assert sees(bad, good), (bad, good)


def test_every_failure_mode_has_a_test_and_its_own_slot():
    ids = [mode.id for mode in failures.CATALOGUE]
    tests = "".join(path.read_text() for path in Path(__file__).parent.glob("test_*.py"))

    assert [mode.id for mode in failures.WRITTEN if f'"{mode.id}"' not in tests] == []
    assert len(set(ids)) == len(ids)
    for place, failure in enumerate(ids):
        assert place == failures.slot(failure)


def test_stuck_open_flap_stays_where_it_is_until_it_is_healed(plant):
    plant.advance(OPEN, 1_000)
    plant.fail("flap_sticks_open")
    assert plant.advance(REST, 3_000).flap_open_fb
    plant.heal("flap_sticks_open")
    assert plant.advance(REST, 1_000).flap_closed_fb


def test_stuck_free_probe_does_not_see_the_full_vessel(plant):
    plant.set_state(vessel_kg=60.0)
    assert not plant.advance(REST, 10).level_free
    plant.fail("level_probe_stuck_free")
    assert plant.advance(REST, 10).level_free


def test_vessel_that_is_not_emptied_keeps_its_probe_covered(quiet):
    frees = []
    for failure in (0.0, 1.0):
        plant = Plant(quiet)
        plant.set_state(vessel_kg=46.0)
        assert not plant.advance(REST, 10).level_free
        plant.fail("vessel_not_consuming", failure)
        frees.append(plant.advance(REST, 60_000).level_free)

    assert frees == [True, False]


def test_supply_that_returns_works_again(plant):
    plant.fail("supply_falls")
    low = plant.advance(AIR, 8_000)
    plant.heal("supply_falls")
    back = plant.advance(AIR, 12_000)

    assert low.supply_air_ua < 4_000 + BAR
    assert back.supply_air_ua > 4_000 + 6 * BAR
    assert back.vacuum_ua > 4_000 + 4 * KPA


def test_flap_loses_its_opening_force_with_the_air_and_the_spring_closes_it(plant):
    plant.advance(OPEN, 1_000)
    plant.fail("supply_falls")
    inputs = plant.advance(OPEN._replace(source_cmd=True), 12_000)  # the ejector draws the header down

    assert inputs.flap_closed_fb


def test_vacuum_keeps_a_weak_flap_shut_and_a_strong_one_opens(quiet):
    closed = []
    for bore in (0.032, 0.063):
        plant = Plant(quiet._replace(flap_cylinder_bore_m=bore))
        plant.advance(DRAW, 8_000)
        closed.append(plant.advance(DRAW._replace(flap_open_cmd=True), 1_000).flap_closed_fb)

    assert closed == [True, False]


def test_overpressure_saturates_at_the_ne43_limit_and_never_reads_as_failed(plant):
    """NAMUR NE 43: 3.8 mA is the lowest healthy current."""
    plant.fail("line_blocked")
    inputs = plant.advance(SEALED._replace(pulse_1_cmd=True), 150)

    assert plant.reading("vacuum_pa_v") < -2_000
    assert inputs.vacuum_ua == 3_800


def test_healing_undoes_and_half_a_failure_is_less(quiet):
    vacuum = []
    for amount in (0.0, 0.5, 1.0):
        plant = Plant(quiet)
        plant.fail("filter_blinded", amount)
        vacuum.append(plant.advance(AIR, 4_000).vacuum_ua)
    plant.heal("filter_blinded")

    assert vacuum == sorted(vacuum, reverse=True)
    assert plant.advance(AIR, 4_000).vacuum_ua == vacuum[0]


def test_refuses_an_unknown_failure_and_an_amount_out_of_range(plant):
    with pytest.raises(ValueError, match=r"no failure mode 'flap_slows' - did you mean 'flap_slow' or '") as no:
        plant.fail("flap_slows")
    assert len(str(no.value)) < 200, "the nearest few, and where the others stand"
    with pytest.raises(ValueError, match=r"no failure mode 'xyzzy'\. All of them: docs/failure_modes\.md"):
        plant.fail("xyzzy")
    with pytest.raises(ValueError, match="amount 2 of flap_slow"):
        plant.fail("flap_slow", 2.0)
