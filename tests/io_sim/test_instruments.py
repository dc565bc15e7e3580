"""Healthy instruments: where they sit, what they see, how they lag."""

import math

import pytest

from controller.image import Outputs
from io_sim import transmitters
from io_sim.constants import flat
from io_sim.failures import healthy
from io_sim.formulas_powder import heap_height_m
from io_sim.formulas_signal import current_ua
from io_sim.plant import Plant

REST = Outputs()
DRAW, AIR = (
    Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True),
    Outputs(source_cmd=True, vent_close_cmd=True),
)
OPEN = Outputs(flap_open_cmd=True)
PA_UA, DP_PA_UA = 6.25, 1.25  # 100 kPa and 20 kPa over 16,000 uA


@pytest.mark.parametrize(
    ("value", "current"), [(-1e9, 3_800), (0, 4_000), (5e4, 12_000), (1e5, 20_000), (1e9, 20_500)]
)
def test_current_of_a_living_transmitter(value, current):
    """NAMUR NE 43: 3.8 .. 20.5 mA; the 4-20 mA signal by its definition."""
    assert current_ua(value, 1e5, 0.0) == current


def test_lag_is_an_exponential_moving_average(quiet):
    """
    y += a (x - y) with a = 1 - exp(-h/T): the textbook first-order filter, exact for held inputs.

    Worked by hand for T = 50 ms, h = 5 ms, x from 0 to 10: a = 0.095163, so y = 0.9516, 1.8127, 2.5918.
    """
    fade = transmitters.fades(flat(quiet), healthy(), 0.005)[0]
    seen, value = [], 0.0
    for _ in range(3):
        value = 10.0 + (value - 10.0) * fade
        seen.append(value)

    assert seen == pytest.approx([0.9516, 1.8127, 2.5918], abs=1e-4)
    assert fade**10 == pytest.approx(math.exp(-1.0))


def test_supply_transmitter_is_at_63_percent_after_its_time_constant(quiet):
    plant = Plant(quiet._replace(transmitter_supply_lag_s=2.0))
    plant.set_state(supply_seen_pa_g=0.0)
    inputs = plant.advance(REST, 2_000)

    assert (inputs.supply_air_ua - 4_000) / 1_600 == pytest.approx(7.0 * (1 - math.exp(-1)), abs=0.01)


def test_clean_side_reads_the_filter_on_top(quiet):
    dirty, clean = (
        Plant(quiet).advance(DRAW, 8_000),
        Plant(quiet._replace(transmitter_vacuum_side=1.0)).advance(DRAW, 8_000),
    )
    drop_pa = (dirty.filter_dp_ua - 4_000) * DP_PA_UA

    assert drop_pa > 1_500
    assert (clean.vacuum_ua - dirty.vacuum_ua) * PA_UA == pytest.approx(drop_pa, abs=10)


def test_blinded_filter_lowers_the_dirty_side_and_raises_the_clean_side(quiet):
    """
    The prototype of this model: clean side 12.8 kPa and dirty side 2.6 kPa on air alone with drag x 8.

    A clean side of that looks like conveying, and nothing in the line.
    """
    shown = {}
    for side in (0.0, 1.0):
        plant = Plant(quiet._replace(transmitter_vacuum_side=side))
        plant.fail("filter_blinded")
        shown[side] = (plant.advance(AIR, 8_000).vacuum_ua - 4_000) * PA_UA / 1_000

    assert shown[0.0] == pytest.approx(2.6, abs=0.3)
    assert shown[1.0] == pytest.approx(12.8, abs=1.0)


def test_absolute_transmitter_reads_the_height_of_the_place(quiet):
    """US Standard Atmosphere 1976: 89,876 Pa at 1,000 m, so 11.45 kPa less than at sea level."""
    high = quiet._replace(site_altitude_m=1_000.0)
    assert Plant(high).advance(REST, 10).vacuum_ua == 4_000
    absolute = Plant(high._replace(transmitter_vacuum_zero=1.0)).advance(REST, 10)

    assert (absolute.vacuum_ua - 4_000) * PA_UA == pytest.approx(101_325 - 89_876, abs=5)


def test_pulse_shows_as_a_negative_drop_for_a_moment(quiet):
    """Common practice, no source: 1 to 5 kPa the wrong way for about 0.2 s; the current stops at 3.8 mA."""
    plant = Plant(quiet)
    plant.advance(OPEN, 1_000)
    lowest, currents = 0.0, []
    for scan in range(100):
        currents.append(plant.advance(OPEN._replace(pulse_1_cmd=scan < 12), 10).filter_dp_ua)
        lowest = min(lowest, plant.state.filter_dp_seen_pa)

    assert -5_000 < lowest < -500
    assert min(currents) == 3_800
    assert sum(current < 4_000 for current in currents) == pytest.approx(35, abs=15)
    assert currents[-1] == 4_000


def test_vacuum_switch_closes_at_its_setting_and_opens_a_band_lower(quiet):
    plant = Plant(quiet._replace(switch_filter_s=0.0))
    seen = []
    for vacuum in (1_150, 1_250, 1_000, 750, 650, 1_150):
        plant.set_state(vacuum_seen_pa_v=vacuum)
        seen.append(plant.advance(REST, 0).vacuum_switch)

    assert seen == [False, True, True, True, False, False]


def test_supply_switch_closes_at_its_setting_and_opens_a_band_lower(quiet):
    plant = Plant(quiet._replace(switch_filter_s=0.0))
    seen = []
    for kpa in (700, 460, 440, 460, 490):
        plant.set_state(supply_seen_pa_g=kpa * 1_000)
        seen.append(plant.advance(REST, 0).supply_air_ok)

    assert seen == [True, True, False, False, True]


def test_pressure_switch_has_its_own_filter(quiet):
    plant = Plant(quiet._replace(switch_filter_s=0.2, transmitter_vacuum_lag_s=60.0))
    plant.set_state(vacuum_seen_pa_v=30e3)
    seen = [plant.advance(AIR, 10).vacuum_switch for _ in range(40)]

    assert seen.index(True) == pytest.approx(20, abs=1)


def test_receiver_probe_sits_at_a_share_of_the_useful_volume(quiet):
    """14 l of flour at 550 kg/m3 are 7.7 kg."""
    for share in (0.5, 1.0, 1.2):
        plant = Plant(quiet._replace(body_probe_share=share))
        plant.set_state(body_kg=7.7 * share - 0.05)
        assert plant.advance(REST, 10).receiver_free
        plant.set_state(body_kg=7.7 * share + 0.05)
        assert not plant.advance(REST, 10).receiver_free


def test_receiver_probe_is_splashed_only_while_product_arrives_near_it(quiet):
    plant = Plant(quiet._replace(body_probe_splash=0.1))
    seen = []
    for _ in range(300):
        plant.set_state(body_kg=7.7 * 0.95)
        seen.append(plant.advance(DRAW, 10).receiver_free)
    late = seen[200:]
    plant.advance(REST, 5_000)
    plant.set_state(body_kg=7.7 * 0.95)

    assert 20 < late.count(False) < 80
    assert all(plant.advance(REST, 10).receiver_free for _ in range(50))
    plant.set_state(body_kg=7.7 * 0.85)
    assert plant.advance(DRAW, 10).receiver_free


def test_low_probe_uncovers_as_the_vessel_is_drawn_down(quiet):
    plant = Plant(quiet._replace(vessel_demand_kg_h=3_600.0))
    plant.set_state(vessel_kg=20.0)
    assert plant.advance(REST, 10).level_low_covered
    inputs = plant.advance(REST, 19_500)

    assert not inputs.level_low_covered
    assert inputs.level_free


def test_probe_with_a_delay_of_its_own_answers_late(quiet):
    plant = Plant(quiet._replace(vessel_probe_delay_s=1.0))
    plant.set_state(vessel_kg=60.0)
    seen = [plant.advance(REST, 10).level_free for _ in range(150)]

    assert seen.index(False) == pytest.approx(100, abs=1)


def test_hopper_switch_opens_with_an_empty_hopper_and_not_with_a_lifted_lance(quiet):
    for failure, present in (("feed_empty", False), ("lance_lifted", True)):
        plant = Plant(quiet)
        plant.fail(failure)
        assert plant.advance(DRAW, 100).feed_present is present


def test_ejector_has_no_run_feedback_and_a_healthy_overload_contact(quiet):
    inputs = Plant(quiet).advance(DRAW, 5_000)

    assert not inputs.source_running_fb
    assert inputs.overload_healthy


@pytest.mark.parametrize(
    ("litres", "radius", "height"),
    [
        # 30 degrees in 0.6 m: h = D/2 tan(a) = 173.2 mm, cone pi/3 r^2 h = 16.32 l
        (16.32, 0.0, 0.1732),
        (16.32, 0.3, 0.0),
        # a layer of 100 mm under it: pi r^2 x 0.1 = 28.27 l more
        (44.60, 0.3, 0.1),
        (44.60, 0.0, 0.2732),
        (44.60, 0.15, 0.1866),
        # an eighth of the cone stands alone with half the foot and half the height
        (2.040, 0.0, 0.0866),
        (2.040, 0.15, 0.0),
    ],
)
def test_heap_is_the_cone_of_the_angle_of_repose(litres, radius, height):
    """Geometry worked by hand: height D/2 tan(repose), a third of its cylinder."""
    found = heap_height_m(litres / 1_000, 0.6, radius, math.radians(30))

    assert found == pytest.approx(height, abs=2e-4)
