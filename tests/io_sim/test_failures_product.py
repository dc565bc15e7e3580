"""Failures of filter, supply air and vessel, as stories longer than one look at the inputs."""

import math

import pytest

from controller.image import FIELD_INPUTS, Inputs, Outputs
from io_sim import failures
from io_sim.plant import Plant

REST, DRAW = Outputs(), Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)
AIR, OPEN = DRAW._replace(feed_cmd=False), Outputs(flap_open_cmd=True)
KPA_DP, BAR = 800, 1_600  # uA


def failing(quiet, failure: str, amount: float = 1.0) -> Plant:
    plant = Plant(quiet)
    plant.fail(failure, amount)
    return plant


def cycle(plant: Plant, draw_ms: int = 10_000) -> Inputs:
    """A batch with two pulses; returns what the instruments showed at the end of the draw."""
    drawn = plant.advance(DRAW, draw_ms)
    plant.advance(REST, 1_500)
    plant.advance(OPEN, 5_000)
    for _ in range(2):
        plant.advance(OPEN._replace(pulse_1_cmd=True), 120)
        plant.advance(OPEN, 1_500)
    plant.advance(REST, 1_500)
    return drawn


# filters


def test_blinding_grows_with_the_dust_caught_and_no_pulse_takes_it_off(quiet):
    """A hundredth of the fines (1.5 % of the product) stays; cake resistance 1e5 1/s makes it drag."""
    plant, clean = failing(quiet, "filter_blinding"), Plant(quiet)
    for _ in range(3):
        cycle(plant)
        cycle(clean)
    kept, arrived = plant.state.blinded_kg_m2, plant.state.arrived_kg

    assert kept == pytest.approx(0.01 * 0.015 * arrived / 0.65, rel=0.25)  # some dust is caught twice
    assert plant.state.cake_kg_m2 - clean.state.cake_kg_m2 == pytest.approx(kept, rel=0.2)
    plant.heal("filter_blinding")
    for _ in range(6):
        plant.advance(OPEN._replace(pulse_1_cmd=True), 120)
        plant.advance(OPEN, 1_500)
    assert plant.state.cake_kg_m2 >= kept


def test_torn_element_drops_the_pressure_loss_and_lets_dust_out(quiet):
    healthy, torn = Plant(quiet), failing(quiet, "filter_torn")
    good, bad = cycle(healthy), cycle(torn)

    assert good.filter_dp_ua > 4_000 + 1.8 * KPA_DP
    assert bad.filter_dp_ua < 4_000 + 0.4 * KPA_DP
    assert healthy.state.exhausted_kg == 0.0
    assert torn.state.exhausted_kg == pytest.approx(0.9 * 0.015 * torn.state.arrived_kg, rel=1e-3)


def test_missing_element_passes_product_and_shows_almost_no_drop(quiet):
    plant, healthy = failing(quiet, "filter_not_refitted"), Plant(quiet)
    bad, good = cycle(plant), cycle(healthy)

    assert bad.filter_dp_ua < 4_000 + 0.1 * KPA_DP
    assert bad.vacuum_ua > good.vacuum_ua + 50  # the dirty side reads more
    assert plant.state.exhausted_kg > 0.1 * plant.state.arrived_kg
    half = failing(quiet, "filter_not_refitted", 0.4)
    assert cycle(half).filter_dp_ua == good.filter_dp_ua


@pytest.mark.parametrize("failure", ["filter_torn", "filter_not_refitted", "vessel_tipped_into"])
def test_product_that_leaves_or_comes_by_another_way_is_counted(quiet, failure):
    plant = failing(quiet, failure, 0.7)
    cycle(plant, 6_000)
    s = plant.state
    held = s.line_kg + s.plug_kg + s.body_kg + s.aloft_kg + s.vessel_kg + 0.65 * s.cake_kg_m2

    assert s.exhausted_kg + s.tipped_in_kg > 0.0
    assert held + s.consumed_kg + s.exhausted_kg == pytest.approx(s.picked_up_kg + s.tipped_in_kg, abs=1e-10)


def test_wet_element_hardly_cleans(quiet):
    plant, dry = failing(quiet, "filter_wet"), Plant(quiet)
    bad, good = cycle(plant), cycle(dry)

    assert bad.filter_dp_ua > good.filter_dp_ua + 2 * KPA_DP
    assert plant.state.cake_kg_m2 > 3 * dry.state.cake_kg_m2


# supply air


def test_slow_fall_is_a_fiftieth_of_the_ramp(quiet):
    """1 bar/s is the ramp: 60 s at a fiftieth is 1.2 bar."""
    inputs = failing(quiet, "supply_falls_slowly").advance(REST, 60_000)

    assert inputs.supply_air_ua == pytest.approx(4_000 + (7 - 1.2) * BAR, abs=0.05 * BAR)


def test_dumped_supply_is_gone_in_two_seconds_and_returns_when_healed(quiet):
    plant = failing(quiet, "supply_dumped")
    gone = plant.advance(REST, 2_000)
    plant.heal("supply_dumped")

    assert gone.supply_air_ua < 4_000 + 0.5 * BAR
    assert not gone.supply_air_ok
    back = plant.advance(REST, 20_000)
    assert back.supply_air_ua > 4_000 + 6.9 * BAR
    assert back.supply_air_ok


def test_neighbour_nods_the_header_for_half_a_second(quiet):
    """Common practice, no source: a dip of about 0.8 bar for 0.3-0.8 s."""
    plant = failing(quiet, "neighbour_draws")
    bar = [(plant.advance(REST, 10).supply_air_ua - 4_000) / BAR for _ in range(4_000)]
    low = [i * 0.01 for i, value in enumerate(bar) if value < 6.7]

    assert 6.0 < min(bar) < 6.5
    assert 0.2 < sum(0.01 for t in low if t < 10) < 1.0
    assert any(20.0 < t < 21.5 for t in low)
    assert not any(2.0 < t < 20.0 for t in low)


def test_compressor_band_is_a_saw_tooth(quiet):
    """The network falls for 96 s of 120 s by 1.5 bar and climbs again."""
    plant = failing(quiet, "compressor_band")
    bar = [(plant.advance(REST, 1_000).supply_air_ua - 4_000) / BAR for _ in range(120)]

    assert min(bar) == pytest.approx(5.5, abs=0.1)
    assert bar.index(min(bar)) == pytest.approx(96, abs=3)
    assert bar[48] == pytest.approx(7.0 - 0.75, abs=0.1)
    assert bar[-1] > 6.7


def test_no_compressed_air_is_lost_to_the_neighbour_uncounted(quiet):
    plant = failing(quiet, "neighbour_draws")
    per_pa = 0.025 / plant.derived.gas_j_kg
    start = plant.state.header_pa * per_pa
    plant.advance(REST, 5_000)
    s = plant.state

    assert s.neighbour_air_kg > 0.0
    assert s.header_pa * per_pa - start == pytest.approx(s.network_air_kg - s.neighbour_air_kg, abs=1e-10)


# vessel below and discharge


def emptied_s(plant: Plant, outputs: Outputs = OPEN) -> float:
    """Time until 90 % of 7 kg has fallen; 60 when it does not."""
    plant.set_state(body_kg=7.0, body_gas_m3=0.035)
    for tenth in range(600):
        plant.advance(outputs, 100)
        if plant.state.delivered_kg > 6.3:
            return tenth / 10
    return 60.0


def test_bridge_holds_the_batch_over_the_open_flap(quiet):
    plant = failing(quiet, "body_bridging")
    assert emptied_s(plant) == 60.0
    assert plant.state.body_kg == pytest.approx(7.0)
    assert emptied_s(failing(quiet, "body_bridging", 0.5)) == pytest.approx(
        2 * emptied_s(Plant(quiet)), rel=0.15
    )


def test_fluidising_speeds_the_discharge_unless_it_is_dead(quiet):
    air = OPEN._replace(fluidise_cmd=True)
    fast, plain = emptied_s(Plant(quiet), air), emptied_s(Plant(quiet))

    assert fast < 0.6 * plain
    assert emptied_s(failing(quiet, "fluidising_dead"), air) == plain


def test_vessel_without_vent_breathes_through_the_flap(quiet):
    plant, vented = failing(quiet, "vessel_not_vented"), Plant(quiet)
    low = 0.0
    assert emptied_s(plant) > 3 * emptied_s(vented)
    plant.set_state(body_kg=7.0)
    for _ in range(50):
        plant.advance(OPEN, 100)
        low = min(low, plant.reading("vacuum_pa_v"))
    assert -2_000 < low < -300


def test_pressure_under_the_flap_reaches_the_body_while_it_is_open(quiet):
    plant = failing(quiet, "vessel_pressurised")
    inputs = plant.advance(OPEN, 3_000)

    assert plant.reading("vacuum_pa_v") < -3_000
    assert inputs.vacuum_ua == 3_800  # NAMUR NE 43: the lowest healthy current
    assert plant.state.delivered_kg == 0.0


def test_pressure_under_a_leaking_flap_shows_at_rest(quiet):
    """
    Two openings in a row at equal density share a pressure as 1 / (1 + (out / in)^2), after Bernoulli.

    In: 0.6 x 100 mm2 of the flap. Out: vent 0.62 x 176.7 mm2, stopped ejector 40 mm2, leaks 3 mm2: 152.6 mm2.
    So 4 kPa leave 0.536 kPa in the body.
    """
    plant = failing(quiet, "vessel_pressurised")
    tight = plant.advance(REST, 3_000)
    plant.fail("flap_leaking")
    plant.fail("line_blocked")  # an open line lets it out
    plant.advance(REST, 3_000)

    assert tight.vacuum_ua == 4_000
    assert plant.reading("vacuum_pa_v") == pytest.approx(-536, rel=0.1)


def test_pressure_of_the_vessel_holds_the_product_up(quiet):
    """Nothing falls against more than the hold of 400 Pa; the vent of the body keeps the difference."""
    pressed = emptied_s(Plant(quiet._replace(vessel_pressure_pa_g=2e3, vent_bore_m=0.1)))

    assert pressed > emptied_s(Plant(quiet._replace(vent_bore_m=0.1)))


def test_rat_hole_leaves_the_high_probe_covered_over_an_empty_vessel(quiet):
    plant = Plant(quiet)
    plant.set_state(vessel_kg=60.0)
    plant.advance(REST, 10)
    plant.fail("vessel_rat_hole")
    plant.set_state(vessel_kg=0.0)
    inputs = plant.advance(REST, 1_000)

    assert not inputs.level_free
    assert not inputs.level_low_covered
    plant.heal("vessel_rat_hole")
    assert plant.advance(REST, 10).level_free


def test_rat_hole_is_nothing_before_the_probe_was_covered(quiet):
    assert failing(quiet, "vessel_rat_hole").advance(REST, 1_000).level_free


def test_tipped_sacks_fill_the_vessel_in_a_minute(quiet):
    plant = failing(quiet._replace(vessel_demand_kg_h=0.0), "vessel_tipped_into")
    plant.advance(REST, 30_000)
    assert plant.state.vessel_kg == pytest.approx(33.0, rel=1e-3)  # half of 120 l at 550 kg/m3
    assert not plant.advance(REST, 40_000).level_free
    assert plant.state.vessel_kg == pytest.approx(66.0)


def test_heap_under_the_flap_keeps_it_open_while_the_wall_is_bare(quiet):
    """
    Geometry by hand. Repose 0.7 rad: tan 0.8423; a heap three times as steep, 2.527.

    The edge of the open flap lies where a full vessel (120 l, 0.6 m bore) has its peak: cone 23.81 l,
    (120 - 23.81) l / 0.28274 m2 = 0.3402 m, and 0.3 x 0.8423 = 0.2527 m on top: 0.5929 m. A free cone of
    2.527 is so high with a foot of 0.5929 / 2.527 = 0.2346 m: pi/3 x 0.2346^2 x 0.5929 = 0.03417 m3, 18.8 kg.
    The probe stands at 0.25 m from the axis, outside that foot.
    """
    shut = {}
    for kg in (18.3, 19.3):
        plant = failing(quiet._replace(vessel_demand_kg_h=0.0), "heap_under_flap")
        plant.set_state(vessel_kg=kg)
        plant.advance(OPEN, 1_000)
        inputs = plant.advance(REST, 2_000)
        shut[kg] = inputs.flap_closed_fb
        assert inputs.level_free

    assert shut == {18.3: True, 19.3: False}


# slow drifts


def test_amount_that_creeps_arrives_evenly_and_stays(quiet):
    plant = Plant(quiet)
    plant.fail("flap_slow", 0.2)
    plant.fail("flap_slow", 0.8, over_s=60.0)
    seen = []
    for _ in range(9):
        plant.advance(REST, 10_000)
        seen.append(plant.amount("flap_slow"))

    assert seen == pytest.approx([0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.8, 0.8, 0.8], abs=1e-9)
    plant.fail("flap_slow", 0.0, over_s=10.0)
    plant.advance(REST, 20_000)
    assert plant.amount("flap_slow") == 0.0


def test_creeping_is_the_same_in_one_go_and_in_many(quiet):
    plants = [Plant(quiet), Plant(quiet)]
    for plant in plants:
        plant.fail("source_weak", 1.0, over_s=20.0)
        plant.fail("vacuum_line_caked", 1.0, over_s=5.0)
    plants[0].advance(AIR, 12_000)
    for _ in range(1_200):
        plants[1].advance(AIR, 10)

    for name in ("body_pa", "header_pa", "vacuum_seen_pa_v", "source_air_kg"):
        assert plants[0].reading(name) == pytest.approx(plants[1].reading(name), rel=1e-12)
    assert plants[0].amount("source_weak") == pytest.approx(0.6)


def test_a_new_amount_ends_the_creeping(plant):
    plant.fail("filter_blinded", 1.0, over_s=100.0)
    plant.advance(REST, 1_000)
    plant.heal("filter_blinded")
    plant.advance(REST, 1_000)

    assert plant.amount("filter_blinded") == 0.0
    with pytest.raises(ValueError, match="flap_slow over -1 s"):
        plant.fail("flap_slow", 1.0, over_s=-1.0)


DRIFTS = {  # what a trend watches, and the failure that moves it; the last says which way
    "flap_slow": (lambda plant: travel_s(plant), 1),
    "filter_blinded": (lambda plant: plant.advance(AIR, 4_000).filter_dp_ua, 1),
    "flap_leaking": (lambda plant: plant.advance(AIR, 4_000).vacuum_ua, -1),
    "body_leaking": (lambda plant: plant.advance(AIR, 4_000).vacuum_ua, -1),
    "source_weak": (lambda plant: plant.advance(AIR, 4_000).vacuum_ua, -1),
    "feed_empty": (lambda plant: filled_kg(plant), -1),
    "vent_filter_clogged": (lambda plant: released_s(plant), 1),
}


def travel_s(plant: Plant) -> float:
    for scan in range(1_000):
        if plant.advance(OPEN, 10).flap_open_fb:
            return scan / 100
    return math.inf


def filled_kg(plant: Plant) -> float:
    plant.advance(DRAW, 8_000)
    return plant.state.body_kg


def released_s(plant: Plant) -> float:
    plant.set_state(body_pa=60e3, vacuum_seen_pa_v=41e3, vent_open=0.0, plug_kg=3.0)
    for scan in range(2_000):
        if plant.advance(REST, 10).vacuum_ua < 4_160:
            return scan / 100
    return math.inf


@pytest.mark.parametrize("failure", DRIFTS)
def test_slow_drift_shows_where_a_trend_looks_for_it(quiet, failure):
    measured, way = DRIFTS[failure]
    seen = [measured(failing(quiet, failure, amount)) for amount in (0.0, 0.2, 0.4)]

    assert seen == sorted(seen, reverse=way < 0)
    assert len(set(seen)) == 3


# the catalogue as data


def test_catalogue_names_presets_and_choices_that_exist():
    from controller.sequence.presets import Presets, limits

    for mode in failures.CATALOGUE:
        if mode.needs:
            preset, *choices = mode.needs
            if choices == ["wired"]:
                assert preset in FIELD_INPUTS + Outputs._fields, mode.id
                continue
            assert preset in Presets._fields, mode.id
            allowed = limits()[preset].choices or (("yes",) if limits()[preset].high == 1 else (">0",))
            assert choices, mode.id
            assert set(choices) <= set(allowed), mode.id
