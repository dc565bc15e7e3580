"""
Every formula against a figure printed outside this project: tests/data/check_values.csv.

The source stands beside each figure in the file. Each row is checked here, or NOT_OURS says why it is not.
"""

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from controller import image
from io_sim import formulas_air as air
from io_sim import formulas_line as line
from io_sim import formulas_powder as powder
from io_sim import formulas_signal as signal
from io_sim import formulas_solids as solids
from io_sim.parameters import limits
from io_sim.settings import load_plant

TABLE = Path(__file__).parents[1] / "data" / "check_values.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))

FT_MIN = 0.00508  # m/s
GALLON = 231 * 0.0254**3  # US
PSI = 6894.757
CFM = 0.3048**3 / 60
SAND = {"particle_size_m": 1e-4, "particle_density_kg_m3": 2500.0}


def number(text: str) -> float:
    """The first number of an input text."""
    return float(text.replace("I=", "").split()[0])


def rhodes_8_1(bore_m: float) -> tuple[float, float, float]:
    """Saltation velocity, horizontal and vertical drop of Rhodes' worked example 8.1."""
    saltation = solids.rizk_saltation_m_s(0.25, 1e-4, bore_m, 1.2)
    flux = 0.25 / (math.pi / 4 * bore_m**2)
    across = solids.rhodes_horizontal_pa(
        flux, 1.5 * saltation, 30, bore_m, **SAND, density_kg_m3=1.2, viscosity_pa_s=1.84e-5
    )
    up = solids.rhodes_vertical_pa(flux, 1.5 * saltation, 10, bore_m, 0.52, 2500, 1.2)
    return saltation, across, up


def rhodes_total_bar(bore_m: float) -> float:
    """Six bends count as 7.5 m of riser each."""
    _, across, up = rhodes_8_1(bore_m)
    return (across + up * (10 + 6 * 7.5) / 10) / 1e5


def rhodes_exercise_bar(
    kg_h: float, size: float, density: float, bore: float, along: float, up: float
) -> float:
    """Total drop of Rhodes' exercises 8.3 and 8.5; `up` holds the bends, 7.5 m each."""
    fluids = pytest.importorskip("fluids")
    terminal = fluids.v_terminal(D=size, rhop=density, rho=1.2, mu=1.84e-5)
    speed = 1.5 * solids.rizk_saltation_m_s(kg_h / 3600, size, bore, 1.2)
    flux = kg_h / 3600 / (math.pi / 4 * bore**2)
    across = solids.rhodes_horizontal_pa(flux, speed, along, bore, size, density, 1.2, 1.84e-5)
    return (across + solids.rhodes_vertical_pa(flux, speed, up, bore, terminal, density, 1.2)) / 1e5


def lift_line_8_4_bar() -> float:
    """Rhodes' exercise 8.4 with the acceleration of air and sand."""
    fluids = pytest.importorskip("fluids")
    terminal = fluids.v_terminal(D=270e-6, rhop=2500, rho=1.2, mu=1.84e-5)
    area = math.pi / 4 * 0.05**2
    flux, speed = 2000 / 3600 / area, 60 / 3600 / area
    acceleration = 0.5 * 1.2 * speed**2 + 0.5 * flux * (speed - terminal)
    return (solids.rhodes_vertical_pa(flux, speed, 50, 0.05, terminal, 2500, 1.2) + acceleration) / 1e5


def choking_8_4_m_s() -> float:
    fluids = pytest.importorskip("fluids")
    terminal = fluids.v_terminal(D=270e-6, rhop=2500, rho=1.2, mu=1.84e-5)
    return solids.punwani_choking_m_s(2000 / 3600 / (math.pi / 4 * 0.05**2), 2500, 0.05, 1.2, terminal)


def coulson_air_kpa(bore_m: float, speed_m_s: float) -> float:
    """Air-only drop of example 5.3: R/(rho u^2) = 0.002 is a Darcy factor of 0.016."""
    return line.air_only_drop_pa(1.0, speed_m_s, 8 * 0.002 * 200 / bore_m) / 1e3


def coulson_added_kpa(air_kpa: float, speed_m_s: float) -> float:
    return solids.additional_drop_coulson_pa(air_kpa * 1e3, speed_m_s, 4.7, 2600.0) / 1e3


def receiver_gallon(minutes: float, cfm: float, room_psi: float, upper: float, lower: float) -> float:
    """Receiver whose draw-down lasts so long; the source rounds a cubic foot to 7.48 gallons and 14.7 psi."""
    one_gallon_s = air.drawdown_time_s(1.0, upper * PSI, lower * PSI, cfm * CFM)
    cubic_metres = minutes * 60 / one_gallon_s
    return cubic_metres / 0.3048**3 * 7.48 * (room_psi * PSI / air.STANDARD_PA)


def usable_scf(gallon: float, upper: float, lower: float) -> float:
    """Air that a receiver gives between two pressures, in the same rounded units."""
    cubic_feet = gallon / 7.48
    minutes = air.drawdown_time_s(cubic_feet * 0.3048**3, upper * PSI, lower * PSI, 1 * CFM) / 60
    return minutes * air.STANDARD_PA / (14.7 * PSI)


RHODES = "M=0.25 kg/s"
BIG, SMALL = "d=101.6 mm", "d=100 mm"
CHECKS: list[tuple[str, str, Callable[[], float]]] = [
    ("density", "Z=0 m", lambda: air.air_density_kg_m3(101_325, 288.15)),
    ("speed of sound", "Z=0 m", lambda: air.sound_speed_m_s(288.15)),
    ("dynamic viscosity", "Z=0 m", lambda: air.air_viscosity_pa_s(288.15)),
    ("pressure", "Z=1000 m", lambda: air.site_pressure_pa(1_000)),
    ("density", "Z=1000 m", lambda: air.air_density_kg_m3(air.site_pressure_pa(1_000), 281.65)),
    ("pressure", "Z=2000 m", lambda: air.site_pressure_pa(2_000)),
    ("site pressure", "Z=2400 m", lambda: air.site_pressure_pa(2_400) / 1e5),
    ("dry air density at normal", "0 C", lambda: air.air_density_kg_m3(101_325, 273.15)),
    ("dry air density", "20 C", lambda: air.air_density_kg_m3(101_325, 293.15)),
    ("speed of sound", "20 C", lambda: air.sound_speed_m_s(293.15)),
    ("dynamic viscosity", "20 C", lambda: air.air_viscosity_pa_s(293.15)),
    ("density at ANR", "100 kPa", lambda: air.air_density_kg_m3(1e5, 293.15)),
    (
        "volume ratio",
        "(101325",
        lambda: air.air_density_kg_m3(101_325, 273.15) / air.air_density_kg_m3(1e5, 293.15),
    ),
    ("pump-down", "500 mbar", lambda: air.pump_down_s(1, 0.1, 1_000, 500)),
    ("pump-down", "100 mbar", lambda: air.pump_down_s(1, 0.1, 1_000, 100)),
    ("pump-down", "10 mbar", lambda: air.pump_down_s(1, 0.1, 1_000, 10)),
    ("pump speed", "10 min", lambda: air.pump_down_s(1_000, 1, 1_000, 200) / 10),
    ("choked air mass flux", "ideal", lambda: air.CHOKED_FLUX),
    ("leak through", "101325", lambda: air.choked_hole_kg_s(1e-6, 101_325, 293.15)),
    ("ISO 6358 choked", "C=1e-8", lambda: air.iso_6358_kg_s(1e-8, 0.35, 7e5, 1e5, 293.15)),
    (
        "ISO 6358 maximum",
        "C=2",
        lambda: air.anr_m3_s(air.iso_6358_kg_s(2e-8, 0.3, 5e5, 1e5, 293.15)) * 60_000,
    ),
    (
        "ISO 6358 subsonic",
        "same",
        lambda: air.anr_m3_s(air.iso_6358_kg_s(2e-8, 0.3, 5e5, 4e5, 293.15)) * 60_000,
    ),
    ("usable receiver air V", "660 gal", lambda: usable_scf(660, 110, 100)),
    ("usable receiver air", "760 gal", lambda: usable_scf(760, 150, 100)),
    ("receiver volume for a demand", "0.5 min", lambda: receiver_gallon(0.5, 100, 14.7, 110, 100)),
    ("receiver volume for a demand", "1.5 min", lambda: receiver_gallon(1.5, 120, 11.7, 150, 120)),
    ("receiver volume with", "0.5 min", lambda: receiver_gallon(0.5, 900 - 45, 14.7, 100, 70)),
    ("isothermal choked tank", "V=1 L", lambda: air.tank_discharge_pa(1, 0.2, 0.2)),
    ("adiabatic choked tank", "same", lambda: air.tank_discharge_adiabatic_pa(1, 0.2, 0.2)),
    (
        "isothermal tank charge",
        "same",
        lambda: air.tank_charge_time_s(1e5, 7e5, 0.3, air.tank_time_constant_s(1e-3, 5e-8, 293.15)),
    ),
    ("Rizk", RHODES, lambda: rhodes_8_1(0.078)[0]),
    ("horizontal pressure drop", RHODES, lambda: rhodes_8_1(0.078)[1]),
    ("vertical pressure drop", RHODES, lambda: rhodes_8_1(0.078)[2]),
    ("total pressure drop", "D=78 mm", lambda: rhodes_total_bar(0.078)),
    ("total pressure drop", "D=63 mm", lambda: rhodes_total_bar(0.063)),
    ("total pressure drop", "1.5 Usalt, D=50 mm", lambda: rhodes_total_bar(0.050)),
    ("total pressure drop", "D=40 mm|M=0.25", lambda: rhodes_total_bar(0.040)),
    ("chosen design: air flow", RHODES, lambda: 1.5 * rhodes_8_1(0.05)[0] * math.pi / 4 * 0.05**2),
    ("chosen design: saltation", RHODES, lambda: rhodes_8_1(0.05)[0]),
    ("chosen design: superficial", RHODES, lambda: 1.5 * rhodes_8_1(0.05)[0]),
    (
        "chosen design: solids loading",
        RHODES,
        lambda: 0.25 / (1.2 * 1.5 * rhodes_8_1(0.05)[0] * math.pi / 4 * 0.05**2),
    ),
    (
        "total pressure drop",
        "500 kg/h",
        lambda: rhodes_exercise_bar(500, 150e-6, 1800, 0.05, 100, 20 + 4 * 7.5),
    ),
    (
        "total pressure drop, NEGATIVE",
        "700 kg/h",
        lambda: rhodes_exercise_bar(700, 1e-3, 1000, 0.04, 80, 15 + 5 * 7.5),
    ),
    ("feed-point", "=13.8", lambda: 1.5 * solids.rizk_saltation_m_s(500 / 3600, 150e-6, 0.05, 1.2)),
    ("feed-point", "=16.4", lambda: 1.5 * solids.rizk_saltation_m_s(700 / 3600, 1e-3, 0.04, 1.2)),
    ("Punwani", "2000 kg/h", choking_8_4_m_s),
    ("lift-line", "same", lift_line_8_4_bar),
    ("air-only pressure drop", BIG, lambda: coulson_air_kpa(0.1016, 24.7)),
    ("additional pressure drop", BIG, lambda: coulson_added_kpa(9.57, 24.7)),
    ("air-only pressure drop", SMALL, lambda: coulson_air_kpa(0.1, 25.465)),
    ("additional pressure drop", SMALL, lambda: coulson_added_kpa(10.375, 25.465)),
    ("total pressure drop", SMALL, lambda: 10.375 + coulson_added_kpa(10.375, 25.465)),
    ("Darcy friction factor, Colebrook", "Re=1e5", lambda: line.colebrook_friction(1e5, 1e-4)),
    ("Darcy friction factor, Haaland", "Re=1e5", lambda: line.haaland_friction(1e5, 1e-4)),
    ("isothermal compressible", "rho", lambda: line.isothermal_pipe_kg_s(1e6, 9e5, 11.3, 0.00185, 1e3, 0.5)),
    ("margin of inlet velocity", "-", lambda: (line.pick_up_velocity_m_s(10.0) / 10.0 - 1) * 100),
    ("pulse-jet gas-to-cloth", "A=9", lambda: powder.pulse_jet_ratio_ft_min(9, 0.8, 275, 4, 7)),
    ("fabric pressure drop", "Pj", lambda: powder.pulse_jet_drop_in_h2o(4.68922, 100, 15, 0.0267956)),
    ("Beverloo discharge", "D=0.3 m", lambda: powder.beverloo_kg_s(1600, 0.3, 0.02, 0.56, 1.5)),
    ("Beverloo discharge", "D=0.15 m", lambda: powder.beverloo_kg_s(1600, 0.15, 0.02, 0.56, 1.5)),
    ("Beverloo discharge", "D=0.6 m", lambda: powder.beverloo_kg_s(1600, 0.6, 0.02, 0.56, 1.5)),
    ("throughput", "8 kg", lambda: powder.throughput_kg_h(8, 15 + 5 + 2)),
    ("NE 43 measuring range low", "-", lambda: image.MEASURED_LOW_UA / 1e3),
    ("NE 43 measuring range high", "-", lambda: image.MEASURED_HIGH_UA / 1e3),
    ("NE 43 failure low", "-", lambda: image.FAILED_LOW_UA / 1e3),
    ("NE 43 failure high", "-", lambda: image.FAILED_HIGH_UA / 1e3),
]

TYPED = {
    "specific cake": ("filter_cake_resistance_1_s", 1.0),
    "minimum conveying": ("material_pick_up_m_s", 1.2),
}
"""Figures of a product, typed at each station: the parameter, and what it is times the figure."""

NOT_OURS = {
    "air in-leakage of a vessel": "a correlation for process vessels, not used here",
    "critical pressure ratio": "0.528 only explains where the choked flux holds",
    "K2 unit": "plant.yaml is in SI",
    "solids velocity": "inside additional_drop_coulson_pa, seen in its result",
    "air velocity": "input of the example: volume flow over area",
    "saltation,": "correlations other than Rizk's are not used here",
    "single-particle terminal": "taken from `fluids` in the checks that need it",
    "loading ratio range": "a range of practice, the limit of a parameter",
    "cloth area": "arithmetic of the example",
    "dust areal density": "arithmetic of the example",
    "bag/cage lateral": "arithmetic of the example",
    "Beverloo law independent": "checked in test_formulas.py as an exponent",
    "slot coefficient": "slots are not modelled",
    "specific energy": "electrical, not modelled",
}


def matches(row: dict[str, str], quantity: str, inputs: str) -> bool:
    """A check names the start of the quantity and a part of the inputs; `=x` names the expected figure."""
    if not row["quantity"].startswith(quantity):
        return False
    if inputs.startswith("="):
        return row["expected"] == inputs[1:]
    return all(part in row["inputs"] for part in inputs.split("|"))


def found(quantity: str, inputs: str) -> dict[str, str]:
    """The one row of a check; an exact quantity goes before one that only starts so."""
    rows = [row for row in ROWS if matches(row, quantity, inputs)]
    exact = [row for row in rows if row["quantity"] == quantity]
    assert len(exact or rows) == 1, (quantity, inputs, rows)
    return (exact or rows)[0]


def tolerance(row: dict[str, str]) -> dict[str, float]:
    kind, size = row["tolerance"].split()
    if row["quantity"] == "pressure":  # printed for geopotential height, which the rounded formula leaves out
        return {"rel": 1e-4}
    return {kind: max(float(size), 1e-9)}


@pytest.mark.parametrize(("quantity", "inputs", "ours"), CHECKS, ids=[f"{q}, {i}" for q, i, _ in CHECKS])
def test_formula_gives_the_published_figure(quantity, inputs, ours):
    row = found(quantity, inputs)
    allowed = {"abs": 0.0, "rel": 0.0} | tolerance(row)

    assert ours() == pytest.approx(float(row["expected"]), **allowed), row["source"]


@pytest.mark.parametrize("row", [r for r in ROWS if r["quantity"].startswith(tuple(TYPED))])
def test_what_a_table_prints_can_be_typed_in_a_plant_file(row):
    name, factor = next(typed for start, typed in TYPED.items() if row["quantity"].startswith(start))

    assert limits()[name].low <= factor * float(row["expected"]) <= limits()[name].high, row["source"]


@pytest.mark.parametrize("station", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
@pytest.mark.parametrize("start", ["specific cake", "minimum conveying"])
def test_each_station_lies_within_what_the_tables_print(start, station):
    name, factor = TYPED[start]
    printed = [factor * float(r["expected"]) for r in ROWS if r["quantity"].startswith(start)]
    figure = getattr(load_plant(Path(__file__).parents[2] / "configs" / station), name)

    assert 0.99 * min(printed) <= figure <= 1.01 * max(printed)


@pytest.mark.parametrize("row", [r for r in ROWS if r["quantity"].startswith("4-20 mA")])
def test_current_converts_to_percent_of_span(row):
    percent = signal.signal_percent(number(row["inputs"]) * 1e3)

    assert percent == pytest.approx(float(row["expected"]), abs=1e-9)


def test_every_row_is_checked_or_says_why_not():
    checked = [found(quantity, inputs) for quantity, inputs, _ in CHECKS]
    checked += [r for r in ROWS if r["quantity"].startswith(("4-20 mA", *TYPED))]
    left = [r for r in ROWS if r not in checked and not r["quantity"].startswith(tuple(NOT_OURS))]

    assert left == []
    assert len(checked) >= 85
