"""
Formulas for air: properties, orifices, ISO 6358 components, tanks and pump-down.

Pure functions in SI units, absolute pressures; used by the plant and by the station check. Air is a dry
ideal gas. `tests/io_sim/test_formulas.py` and `test_check_values.py` hold them against published figures
and an independent library; the plant's tests hold the flows against closed forms.
"""

import math

GAS_CONSTANT = 287.05  # of dry air [J/(kg K)]
STANDARD_PA = 101_325.0
ISO_6358_KG_M3 = 1.185  # density at the reference state of ISO 6358 (ISO 8778: 100 kPa, 20 C, 65 % RH)
ISO_6358_K = 293.15
CHOKED_FLUX = 0.0404  # choked mass flow x sqrt(T) / (area x pressure) of air [kg K^0.5 / (s N)]
NOZZLE_RATIO = 0.528  # critical pressure ratio of an ideal nozzle, kappa 1.4
ROUNDING_PA = 20.0  # below this difference a square-root law is straightened, so that its slope stays finite


def air_density_kg_m3(pressure_pa: float, temperature_k: float) -> float:
    """
    Density of dry air, p / (R T) [kg/m3].

    Valid within 0.3 % up to 8 bar and 0..40 C.

    >>> air_density_kg_m3(101_325, 288.15)
    1.225

    Source: ideal gas; the figure is that of the US Standard Atmosphere 1976.
    """
    return pressure_pa / (GAS_CONSTANT * temperature_k)


def air_viscosity_pa_s(temperature_k: float) -> float:
    """
    Dynamic viscosity of air after Sutherland, 1.458e-6 T^1.5 / (T + 110.4) [Pa s].

    Valid 250..400 K.

    >>> air_viscosity_pa_s(288.15) * 1e5
    1.789

    Source: US Standard Atmosphere 1976 (constants from memory).
    """
    return 1.458e-6 * temperature_k * math.sqrt(temperature_k) / (temperature_k + 110.4)


def sound_speed_m_s(temperature_k: float) -> float:
    """
    Speed of sound in air, sqrt(1.4 R T) [m/s].

    >>> sound_speed_m_s(288.15)
    340.3

    Source: ideal gas with kappa 1.4.
    """
    return math.sqrt(1.4 * GAS_CONSTANT * temperature_k)


def site_pressure_pa(altitude_m: float) -> float:
    """
    Air pressure at a height above sea level, 101325 (1 - 2.25577e-5 Z)^5.25588 [Pa].

    Valid under 11 km.

    >>> site_pressure_pa(1_000)
    89875.

    Source: US Standard Atmosphere 1976, whose table prints 89876 Pa.
    """
    return STANDARD_PA * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.25588)


def choked_hole_kg_s(area_m2: float, upstream_pa: float, upstream_k: float) -> float:
    """
    Mass flow of air through an ideal hole at the speed of sound, 0.0404 A p / sqrt(T) [kg/s].

    Valid while the pressure downstream is at most 0.528 of that upstream. A hole of 1 mm2 into a body
    under deep vacuum:

    >>> choked_hole_kg_s(1e-6, 101_325, 293.15) * 1e4
    2.39

    Source: isentropic nozzle flow, any gas-dynamics textbook (constant from memory).
    """
    return CHOKED_FLUX * area_m2 * upstream_pa / math.sqrt(upstream_k)


def orifice_kg_s(area_m2: float, inside_pa: float, outside_pa: float, temperature_k: float) -> float:
    """
    Mass flow from outside to inside through an opening of effective area Cd A; negative outwards [kg/s].

    A sqrt(2 rho dp), straightened below 20 Pa and capped at choked flow. Strictly rising as the inside
    pressure falls until it chokes, which is what the root search of the body needs.

    Valid for an incompressible flow, so for small drops: the expansion of the air is left out up to the
    choked cap. Against isentropic nozzle flow that is 3 % too much at 5 kPa, 6 % at 10 kPa and 15 % at
    most, where the cap takes over near 24 kPa. Inwards the density is that upstream; outwards it stays
    that of the outside, too small by the over-pressure within, which a pulse alone brings about.

    >>> orifice_kg_s(1e-4, 100_325, 101_325, 293.15)
    0.00486

    Source: Bernoulli with the density outside; 20 Pa is a choice of this project.
    """
    drop_pa = outside_pa - inside_pa
    density = outside_pa / (GAS_CONSTANT * temperature_k)
    flow = area_m2 * math.sqrt(2.0 * density) * drop_pa / math.sqrt(abs(drop_pa) + ROUNDING_PA)
    if abs(drop_pa) < 0.2 * outside_pa:
        return flow
    choked = CHOKED_FLUX * area_m2 * max(inside_pa, outside_pa) / math.sqrt(temperature_k)
    return max(min(flow, choked), -choked)


def iso_6358_kg_s(
    conductance_m3_s_pa: float,
    critical_ratio: float,
    upstream_pa: float,
    downstream_pa: float,
    upstream_k: float,
) -> float:
    """
    Mass flow through a pneumatic component after ISO 6358 [kg/s].

    C rho0 p1 sqrt(T0/T1), and below choking x sqrt(1 - ((r - b)/(1 - b))^2) with r = p2/p1. Above r = 0.999
    the ellipse is replaced by its chord. Zero if the pressure downstream is not the lower one.

    Args:
        conductance_m3_s_pa: Sonic conductance C [m3/(s Pa)]; 1e-8 is 1 dm3/(s bar).
        critical_ratio: b [-].
        upstream_pa: p1, absolute [Pa].
        downstream_pa: p2, absolute [Pa].
        upstream_k: T1 [K].

    >>> iso_6358_kg_s(1e-8, 0.35, 7e5, 1e5, 293.15) * 1e3
    8.295

    Source: ISO 6358, as given in public solver examples; the figure is one of those.
    """
    if downstream_pa >= upstream_pa:
        return 0.0
    choked = conductance_m3_s_pa * ISO_6358_KG_M3 * upstream_pa * math.sqrt(ISO_6358_K / upstream_k)
    ratio = downstream_pa / upstream_pa
    if ratio <= critical_ratio:
        return choked
    edge = 0.999
    bent = (min(ratio, edge) - critical_ratio) / (1.0 - critical_ratio)
    flow = choked * math.sqrt(1.0 - bent * bent)
    if ratio > edge:
        flow *= (1.0 - ratio) / (1.0 - edge)
    return flow


def series_conductance_m3_s_pa(first: float, second: float) -> float:
    """
    Sonic conductance of two components one after the other, 1/C^2 = 1/C1^2 + 1/C2^2 [m3/(s Pa)].

    >>> series_conductance_m3_s_pa(3e-8, 4e-8) * 1e8
    2.4

    Source: common rule of pneumatics, critical ratio ignored.
    """
    return 1.0 / math.sqrt(1.0 / (first * first) + 1.0 / (second * second))


def tank_time_constant_s(volume_m3: float, conductance_m3_s_pa: float, temperature_k: float) -> float:
    """
    Time constant V / (C rho0 R sqrt(T0 T)) of a tank behind a choked component, isothermal [s].

    One litre behind 5 dm3/(s bar):

    >>> tank_time_constant_s(1e-3, 5e-8, 293.15)
    0.2006

    Source: mass balance of the tank with the ISO 6358 law.
    """
    root = math.sqrt(ISO_6358_K * temperature_k)
    return volume_m3 / (conductance_m3_s_pa * ISO_6358_KG_M3 * GAS_CONSTANT * root)


def tank_discharge_pa(start_pa: float, elapsed_s: float, time_constant_s: float) -> float:
    """
    Pressure of a tank emptying through a choked component, isothermal: p0 exp(-t/tau) [Pa].

    >>> tank_discharge_pa(7e5, 0.2, 0.2) / 7e5
    0.3679

    Source: closed form of the mass balance.
    """
    return start_pa * math.exp(-elapsed_s / time_constant_s)


def tank_discharge_adiabatic_pa(start_pa: float, elapsed_s: float, time_constant_s: float) -> float:
    """
    The same without heat from the wall: p0 (1 + 0.2 t/tau)^-7 for kappa 1.4 [Pa].

    The truth of a short pulse lies between this and the isothermal form, which the plant uses.

    >>> tank_discharge_adiabatic_pa(1.0, 1.0, 1.0)
    0.2791

    Source: closed form of mass and energy balance.
    """
    return start_pa * math.pow(1.0 + 0.2 * elapsed_s / time_constant_s, -7.0)


def tank_charge_time_s(
    start_pa: float, supply_pa: float, critical_ratio: float, time_constant_s: float
) -> float:
    """
    Time in which a tank reaches its supply pressure, isothermal: tau (b - p0/ps + (1 - b) pi/2) [s].

    Valid for a start at most b ps. From 1 to 7 bar absolute, one litre, 5 dm3/(s bar), b = 0.3:

    >>> tank_charge_time_s(1e5, 7e5, 0.3, 0.2006)
    0.252

    Source: closed form from the ISO 6358 ellipse.
    """
    return time_constant_s * (critical_ratio - start_pa / supply_pa + (1.0 - critical_ratio) * math.pi / 2.0)


def tank_charge_pa(
    start_pa: float, supply_pa: float, critical_ratio: float, time_constant_s: float, elapsed_s: float
) -> float:
    """
    Pressure of a tank while it is charged, isothermal: straight up to b ps, then a sine to ps [Pa].

    Valid for a start at most b ps.

    >>> tank_charge_pa(1e5, 7e5, 0.3, 0.2006, 0.252) / 7e5
    1.0

    Source: closed form from the ISO 6358 ellipse.
    """
    straight_s = time_constant_s * (critical_ratio - start_pa / supply_pa)
    if elapsed_s <= straight_s:
        return start_pa + supply_pa * elapsed_s / time_constant_s
    angle = (elapsed_s - straight_s) / (time_constant_s * (1.0 - critical_ratio))
    return supply_pa * (critical_ratio + (1.0 - critical_ratio) * math.sin(min(angle, math.pi / 2.0)))


def drawdown_time_s(volume_m3: float, upper_pa: float, lower_pa: float, demand_m3_s: float) -> float:
    """
    Time in which a demand draws an air receiver down, V (p1 - p2) / (Q 101325) [s].

    Args:
        volume_m3: Of the receiver [m3].
        upper_pa: Pressure at the start [Pa].
        lower_pa: Pressure at the end [Pa].
        demand_m3_s: Free air at 101.325 kPa [m3/s].

    >>> drawdown_time_s(1.0, 8e5, 7e5, 0.1)
    9.87

    Source: receiver sizing formula of the ORNL tool suite, rearranged.
    """
    return volume_m3 * (upper_pa - lower_pa) / (demand_m3_s * STANDARD_PA)


def pump_down_s(volume_m3: float, speed_m3_s: float, start_pa: float, end_pa: float) -> float:
    """
    Time to evacuate a volume at constant pumping speed, (V/S) ln(p0/p1) [s].

    Valid without leaks and well above the end pressure of the pump.

    >>> pump_down_s(1.0, 0.1, 100_000, 50_000)
    6.93

    Source: any vacuum textbook; The Engineering ToolBox prints 6.9 s.
    """
    return volume_m3 / speed_m3_s * math.log(start_pa / end_pa)


def air_used_kg(volume_m3: float, before_pa: float, after_pa: float, temperature_k: float) -> float:
    """
    Air that a pulse took from its tank, V (p_before - p_after) / (R T) [kg].

    >>> air_used_kg(1.5e-3, 7e5, 4.8e5, 293.15) * 1e3
    3.92

    Source: ideal gas.
    """
    return volume_m3 * (before_pa - after_pa) / (GAS_CONSTANT * temperature_k)


def anr_m3_s(flow_kg_s: float) -> float:
    """
    Volume flow at the reference state of ISO 6358 (1.185 kg/m3) [m3/s ANR].

    >>> anr_m3_s(0.0734) * 3600
    223.

    Source: ISO 6358 convention.
    """
    return flow_kg_s / ISO_6358_KG_M3


def ejector_strength(supply_pa: float, nominal_pa: float, none_pa: float) -> float:
    """
    Share of its nominal suction that an ejector has at a supply pressure, 0 to 1.1 [-].

    Straight from the pressure without suction to the nominal one; more supply is trusted for a tenth more.

    >>> ejector_strength(4e5, 7e5, 1e5), ejector_strength(9e5, 7e5, 1e5)
    (0.5, 1.1)

    Source: an estimate of this project, to be replaced by a maker's table.
    """
    return min(max((supply_pa - none_pa) / (nominal_pa - none_pa), 0.0), 1.1)


def ejector_dead_end_pa_v(nominal_pa_v: float, strength: float) -> float:
    """
    Vacuum of an ejector that has nothing to draw, at a share of its nominal suction [Pa].

    It falls more slowly than the flow: 0.35 + 0.65 x strength.

    >>> ejector_dead_end_pa_v(80e3, 0.5)
    54000.

    Source: an estimate of this project, to be replaced by a maker's table.
    """
    return nominal_pa_v * (0.35 + 0.65 * strength)
