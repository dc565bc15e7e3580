"""
The check's prediction against logic and plant run together, over plants that differ in all that matters.

The prediction is algebra and closed forms, the plant steps differential equations. Both share parameters and
laws (`io_sim.formulas_*`): orifice, nozzle, ejector against its supply, what the air still lifts, discharge of
the flap. A wrong law is wrong in both and no agreement will show it. What the agreement is worth: neither made
a slip in putting the laws together, and the short cuts of the prediction (steady points, mean cake, one
stirred line) cost less than stated. That a law is right is said by the tests against published figures, and
here by one drop of the line against an independent library.
"""

import math
from pathlib import Path

import fluids
import pytest
from cycles import Measured, measured

from controller.sequence.presets import Presets, limits
from controller.settings import load_station
from controller.station_check.prediction import Prediction, predict
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

WITHIN = 0.15
MEDIUM = PlantParameters(vessel_demand_kg_h=20_000.0, vessel_capacity_m3=1.0)

VARIATIONS = {
    "medium": {},
    "short line": {"line_length_m": 6.0, "line_lift_m": 3.0, "line_bends": 1.0},
    "long line": {"line_length_m": 30.0, "line_lift_m": 8.0, "line_bends": 5.0},
    "flat line": {"line_lift_m": 0.0},
    "steep line": {"line_length_m": 16.0, "line_lift_m": 13.0},
    "light product": {"material_bulk_density_kg_m3": 320.0},
    "heavy product": {"material_bulk_density_kg_m3": 900.0, "material_flow_factor": 0.8},
    "half the feed": {"feed_limit_kg_s": 0.25},
    "twice the feed": {"feed_limit_kg_s": 1.0},
    "supply of 5.5 bar": {"supply_network_pa_g": 5.5e5},
    "supply of 4.6 bar": {"supply_network_pa_g": 4.6e5},
    "thin supply line": {"supply_network_m3_s_pa": 4e-8},
    "long line, twice the feed": {"line_length_m": 30.0, "line_lift_m": 8.0, "feed_limit_kg_s": 1.0},
    "light product, long line, weak supply": {
        "material_bulk_density_kg_m3": 320.0, "line_length_m": 25.0, "line_lift_m": 6.0,
        "supply_network_pa_g": 5.5e5, "feed_limit_kg_s": 0.3,
    },
    "thin line on a hill": {"line_bore_m": 0.04, "site_altitude_m": 1_500.0, "feed_limit_kg_s": 0.35},
    "fine dust": {"filter_cake_resistance_1_s": 4e5},
    "product that the air hardly lifts": {"material_pick_up_m_s": 24.0},
}  # fmt: skip


def commissioned(plant: PlantParameters) -> Presets:
    """Presets that the check has nothing against: its own computed figures, and time enough to empty."""
    presets = Presets(supply_low_pa_g=350_000, clear_ms=20_000, drain_ms=10_000)
    for _ in range(2):  # the figures lean on each other
        predicted = predict(plant, presets)
        air_only, conveying = predicted.air_only.body_pa_v, predicted.conveying.body_pa_v
        useful_kg = plant.body_useful_volume_m3 * plant.material_bulk_density_kg_m3
        wanted = {
            "no_material_pa": math.sqrt(air_only * conveying),
            "vacuum_high_pa": math.sqrt(1.5 * conveying * 0.7 * predicted.dead_end_pa_v),
            "line_empty_pa": 1.25 * predicted.air_only_purge.body_pa_v,
            "proving_pa": 0.5 * predicted.air_only_low.body_pa_v,
            "fill_ms": 900.0 * useful_kg / predicted.conveying.solids_kg_s,
            "no_material_arm_ms": 1_000.0 * predicted.conveying.transit_s + 1_500.0,
        }
        presets = presets._replace(
            **{
                name: int(min(max(value, limits()[name].low), limits()[name].high))
                for name, value in wanted.items()
            }
        )
    return presets


def pairs(predicted: Prediction, got: Measured) -> dict[str, tuple[float, float]]:
    return {
        "t/h": (predicted.rate_kg_h, got.rate_kg_h),
        "dirty-side vacuum": (predicted.conveying.body_pa_v, got.vacuum_pa_v),
        "Nm3/t": (predicted.air_nm3_t, got.air_nm3_t),
        "cycle": (predicted.steps.cycle_ms, got.cycle_ms),
    }


@pytest.mark.parametrize("name", VARIATIONS)
def test_prediction_and_a_simulated_hour_agree(name: str) -> None:
    plant = MEDIUM._replace(**VARIATIONS[name])
    presets = commissioned(plant)
    compared = pairs(predict(plant, presets), measured(plant, presets))
    off = {what: round(said / got - 1.0, 3) for what, (said, got) in compared.items()}
    assert all(abs(miss) <= WITHIN for miss in off.values()), off


STATIONS = ("buckwheat_mill", "sugar_kitchen", "milk_powder_hall")


def at(station: str) -> tuple[PlantParameters, Presets]:
    """A station whose vessel takes whatever comes: capacity is predicted, not what the vessel takes."""
    folder = Path(__file__).parents[2] / "configs" / station
    plant, presets = load_plant(folder), load_station(folder).receiver.presets
    return plant._replace(vessel_demand_kg_h=20_000.0), presets


@pytest.mark.parametrize("station", STATIONS)
def test_prediction_and_a_simulated_hour_agree_at_each_station(station: str) -> None:
    plant, presets = at(station)
    compared = pairs(predict(plant, presets), measured(plant, presets))
    off = {what: round(said / got - 1.0, 3) for what, (said, got) in compared.items()}
    assert all(abs(miss) <= WITHIN for miss in off.values()), off


DRAIN_WITHIN = 0.35
MINUTES_MS = 400_000


@pytest.mark.parametrize("station", STATIONS)
def test_predicted_and_simulated_drain_agree_at_each_station(station: str) -> None:
    """Of a driven flap it is a preset, so one step against another; of a hanging one the fall and the swing."""
    plant, presets = at(station)
    got = measured(plant, presets, MINUTES_MS).step_ms["DRAIN"]
    assert predict(plant, presets).steps.drain_ms == pytest.approx(got, rel=DRAIN_WITHIN)


HANGING = {
    "light flap": {"flap_counterweight_n": 0.25},
    "strong counterweight": {"flap_counterweight_n": 4.0},
    "slow flap": {"flap_travel_s": 0.5},
    "wide flap": {"flap_bore_m": 0.15},
    "slow product": {"material_bulk_density_kg_m3": 500.0, "material_flow_factor": 0.4},
}


@pytest.mark.parametrize("kind", [1, 2])
@pytest.mark.parametrize("name", HANGING)
def test_predicted_and_simulated_drain_agree_for_flaps_that_hang(name: str, kind: int) -> None:
    plant, presets = at("sugar_kitchen")
    plant = plant._replace(flap_kind=float(kind), **HANGING[name])
    presets = presets._replace(flap_kind=kind, drain_ms=30_000)
    got = measured(plant, presets, MINUTES_MS).step_ms["DRAIN"]
    assert predict(plant, presets).steps.drain_ms == pytest.approx(got, rel=DRAIN_WITHIN)


def test_the_variations_are_not_one_station_again() -> None:
    plants = [MEDIUM._replace(**changes) for changes in VARIATIONS.values()]
    predicted = [predict(plant, commissioned(plant)) for plant in plants]
    assert len(predicted) >= 12
    for figures, spread in (
        ([p.rate_kg_h for p in predicted], 2.0),
        ([p.conveying.body_pa_v for p in predicted], 2.0),
        ([p.air_nm3_t for p in predicted], 2.0),
        ([p.conveying.feed_point_m_s for p in predicted], 1.5),
    ):
        assert max(figures) / min(figures) > spread
    assert {p.conveying.limited_by for p in predicted} >= {"feed", "loading", "pick-up"}


@pytest.mark.parametrize("name", ["medium", "long line", "thin line on a hill"])
def test_air_only_drop_at_the_predicted_point_is_that_of_an_independent_library(name: str) -> None:
    """
    `fluids`: Colebrook and isothermal compressible flow for the pipe with its bends as longer pipe, from the
    pressure behind the pick-up (inlet loss and the head of the air, Bernoulli) to the body.
    """
    plant = MEDIUM._replace(**VARIATIONS[name])
    point = predict(plant, commissioned(plant)).air_only
    bore, flow = plant.line_bore_m, point.line_air_kg_s
    air_pa = fluids.ATMOSPHERE_1976(plant.site_altitude_m).P
    gas = 8.314463 / 0.028965 * plant.site_temperature_k
    flux = flow / (math.pi / 4.0 * bore**2)
    behind_pa = air_pa - (1.0 + plant.line_inlet_loss) * flux**2 * gas / (2.0 * air_pa)
    reynolds = flux * bore / fluids.ATMOSPHERE_1976.viscosity(plant.site_temperature_k)
    friction = fluids.friction_factor(reynolds, eD=plant.line_roughness_m / bore)
    length = plant.line_length_m + plant.line_bends * plant.line_bend_loss * bore / friction
    body_pa = fluids.isothermal_gas(behind_pa / gas, friction, P1=behind_pa, L=length, D=bore, m=flow)
    assert point.body_pa_v == pytest.approx(air_pa - body_pa, rel=0.03)


def test_a_prediction_for_another_line_is_noticed() -> None:
    plant = MEDIUM._replace(line_length_m=30.0, line_lift_m=8.0)
    presets = commissioned(plant)
    said, got = pairs(predict(MEDIUM, presets), measured(plant, presets))["dirty-side vacuum"]
    assert abs(said / got - 1.0) > WITHIN
