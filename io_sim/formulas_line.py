"""
Formulas for dilute-phase conveying lines: friction, solids terms, pick-up, plugs.

Pure functions in SI units; velocities are superficial air velocities unless said. Published methods for the
friction of solids differ by a factor of 20: none of this is a sizing tool.
"""

import math

GRAVITY = 9.81


def reynolds(velocity_m_s: float, bore_m: float, density_kg_m3: float, viscosity_pa_s: float) -> float:
    """
    Reynolds number of a pipe, rho u D / mu [-].

    >>> reynolds(20, 0.05, 1.2, 1.82e-5)
    65934.

    Source: definition.
    """
    return density_kg_m3 * velocity_m_s * bore_m / viscosity_pa_s


def haaland_friction(reynolds_number: float, relative_roughness: float) -> float:
    """
    Darcy friction factor after Haaland, explicit [-].

    Valid for turbulent flow, within 2 % of Colebrook.

    >>> haaland_friction(1e5, 1e-4)
    0.018265

    Source: Haaland 1983; the figure is the documented example of `fluids.Haaland`.
    """
    inner = math.pow(relative_roughness / 3.7, 1.11) + 6.9 / reynolds_number
    root = -1.8 * math.log10(inner)
    return 1.0 / (root * root)


def colebrook_friction(reynolds_number: float, relative_roughness: float) -> float:
    """
    Darcy friction factor after Colebrook, by ten fixed-point steps from Haaland [-].

    Valid for turbulent flow.

    >>> colebrook_friction(1e5, 1e-4)
    0.0185139

    Source: Colebrook 1939; the figure is the documented example of `fluids.Colebrook`.
    """
    root = 1.0 / math.sqrt(haaland_friction(reynolds_number, relative_roughness))
    for _ in range(10):
        root = -2.0 * math.log10(relative_roughness / 3.7 + 2.51 * root / reynolds_number)
    return 1.0 / (root * root)


def air_only_drop_pa(density_kg_m3: float, velocity_m_s: float, loss_factor: float) -> float:
    """
    Pressure drop of air alone, (f L/D + sum K) rho u^2 / 2, with density and velocity at mean pressure [Pa].

    The loss factor includes 1 for bringing the air up to speed.

    >>> air_only_drop_pa(1.177, 27.0, 10.3)
    4419.

    Source: Darcy-Weisbach.
    """
    return loss_factor * density_kg_m3 * velocity_m_s * velocity_m_s / 2.0


def isothermal_pipe_kg_s(
    inlet_pa: float, outlet_pa: float, density_1_kg_m3: float, darcy: float, length_m: float, bore_m: float
) -> float:
    """
    Mass flow of gas through a long pipe at one temperature [kg/s].

    p1^2 - p2^2 = G^2 (p1/rho1) (f L/D + 2 ln(p1/p2)), G the mass flow per area.

    >>> isothermal_pipe_kg_s(1e6, 9e5, 11.3, 0.00185, 1000, 0.5)
    145.4848

    Source: any gas-dynamics textbook; the figure is the documented example of `fluids.isothermal_gas`.
    """
    area = math.pi / 4.0 * bore_m * bore_m
    losses = darcy * length_m / bore_m + 2.0 * math.log(inlet_pa / outlet_pa)
    squares = inlet_pa * inlet_pa - outlet_pa * outlet_pa
    return area * math.sqrt(squares * density_1_kg_m3 / (inlet_pa * losses))


def solids_lift_pa(hold_up_kg_m3: float, lift_m: float) -> float:
    """
    Weight of the solids hanging in the riser, c_s g H [Pa].

    >>> solids_lift_pa(18.0, 4.0)
    706.

    Source: hydrostatics. `hold_up_kg_m3` is solids in the line / volume of the line.
    """
    return hold_up_kg_m3 * GRAVITY * lift_m


def solids_loss_kg_m3(
    hold_up_kg_m3: float, ratio: float, friction: float, length_m: float, bore_m: float, bends_share: float
) -> float:
    """
    What the solids add to the drop, divided by u^2: friction, acceleration and regaining speed after bends.

    c_s (lambda_s c L/(2 D) + c^2 (1 + bends_share)); multiply by u^2 for Pa.

    Args:
        hold_up_kg_m3: c_s, solids in the line / volume of the line.
        ratio: c, solids / air velocity.
        friction: lambda_s.
        length_m: L.
        bore_m: D.
        bends_share: Number of bends x share of the velocity regained after each.

    >>> solids_loss_kg_m3(18.0, 0.73, 0.006, 15.0, 0.05, 0.75) * 19.5**2
    10880.

    Source: the usual additional-pressure-drop form, written with the hold-up.
    """
    rubbing = friction * ratio * length_m / (2.0 * bore_m)
    return hold_up_kg_m3 * (rubbing + ratio * ratio * (1.0 + bends_share))


def pick_up_velocity_m_s(minimum_m_s: float) -> float:
    """
    Air velocity to design the pick-up for, 20 % over the minimum [m/s].

    >>> pick_up_velocity_m_s(10.2)
    12.24

    Source: D. Mills, "Pickup velocity for pneumatic conveying", Powder & Bulk Solids, 13 January 2010.
    """
    return 1.2 * minimum_m_s


def smooth_step(value: float, low: float, high: float) -> float:
    """
    Smooth step from 0 at `low` to 1 at `high`, t^2 (3 - 2 t).

    >>> smooth_step(0.25, 0.0, 1.0)
    0.15625

    Source: the cubic with level ends.
    """
    if value <= low:
        return 0.0
    if value >= high:
        return 1.0
    t = (value - low) / (high - low)
    return t * t * (3.0 - 2.0 * t)


def carried_share(velocity_m_s: float, pick_up_m_s: float) -> float:
    """
    Share of the feed that the air still lifts: all from 0.95 of the pick-up velocity on, none under 0.55 [-].

    >>> carried_share(10.5, 14.0)
    0.5

    Source: an estimate of this project.
    """
    return smooth_step(velocity_m_s, 0.55 * pick_up_m_s, 0.95 * pick_up_m_s)


def plug_break_away_pa(plug_kg: float, bore_m: float, bulk_density_kg_m3: float, wall: float) -> float:
    """
    Pressure that starts a plug at the foot of a riser, rho_b g L (1 + k L/D), L = m / (rho_b A) [Pa].

    >>> plug_break_away_pa(0.108, 0.05, 550.0, 2.0)
    2698.

    Source: weight and a wall term that grows with the square of the length; k = 2 is a guess.
    """
    length = plug_kg / (bulk_density_kg_m3 * math.pi / 4.0 * bore_m * bore_m)
    return bulk_density_kg_m3 * GRAVITY * length * (1.0 + wall * length / bore_m)


def transit_time_s(length_m: float, velocity_m_s: float, ratio: float) -> float:
    """
    Time of the solids in the line, L / (c u) [s].

    >>> transit_time_s(15.0, 19.5, 0.73)
    1.05

    Source: definition.
    """
    return length_m / (ratio * velocity_m_s)
