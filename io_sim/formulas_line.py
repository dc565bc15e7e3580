"""
Formulas for dilute-phase conveying lines: friction, solids terms, minimum velocities.

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


def hinkle_velocity_ratio(particle_size_m: float, particle_density_kg_m3: float) -> float:
    """
    Solids / air velocity in a horizontal line, 1 - 0.0638 x^0.3 rho_p^0.5 [-].

    >>> hinkle_velocity_ratio(1e-4, 2500.0)
    0.799

    Source: Hinkle, as used in Rhodes, Introduction to Particle Technology, ch. 8 (from memory).
    """
    return 1.0 - 0.0638 * math.pow(particle_size_m, 0.3) * math.sqrt(particle_density_kg_m3)


def rizk_saltation_m_s(
    solids_kg_s: float, particle_size_m: float, bore_m: float, density_kg_m3: float
) -> float:
    """
    Air velocity below which solids settle in a horizontal line, after Rizk [m/s].

    mu = 10^-(1440 x + 1.96) (U / sqrt(g D))^(1100 x + 2.5), mu = M / (rho U A), solved for U.

    >>> rizk_saltation_m_s(0.25, 1e-4, 0.078, 1.2)
    9.88

    Source: Rizk 1973 in Rhodes, worked example 8.1 (9.88 m/s).
    """
    power = 1100.0 * particle_size_m + 2.5
    area = math.pi / 4.0 * bore_m * bore_m
    lead = solids_kg_s * math.pow(10.0, 1440.0 * particle_size_m + 1.96) / (density_kg_m3 * area)
    return math.pow(lead * math.pow(math.sqrt(GRAVITY * bore_m), power), 1.0 / (power + 1.0))


def punwani_choking_m_s(
    flux_kg_m2_s: float,
    particle_density_kg_m3: float,
    bore_m: float,
    density_kg_m3: float,
    terminal_m_s: float,
) -> float:
    """
    Air velocity below which a riser chokes, after Punwani [m/s].

    rho^0.77 = 2250 D (e^-4.7 - 1) / (U/e - U_T)^2 with U/e - U_T = G / (rho_p (1 - e)), solved for the
    voidage e by bisection.

    Args:
        flux_kg_m2_s: G, solids mass flow / area.
        particle_density_kg_m3: rho_p.
        bore_m: D.
        density_kg_m3: rho, of the air.
        terminal_m_s: U_T, of a single particle.

    >>> punwani_choking_m_s(283.0, 2500.0, 0.05, 1.2, 1.77)
    5.45

    Source: Punwani et al. 1976 in Rhodes, exercise 8.4 (5.48 m/s).
    """
    low, high = 0.5, 1.0 - 1e-9
    for _ in range(80):
        middle = (low + high) / 2.0
        slip = flux_kg_m2_s / (particle_density_kg_m3 * (1.0 - middle))
        holding = 2250.0 * bore_m * (math.pow(middle, -4.7) - 1.0)
        if holding > slip * slip * math.pow(density_kg_m3, 0.77):
            low = middle
        else:
            high = middle
    slip = flux_kg_m2_s / (particle_density_kg_m3 * (1.0 - low))
    return low * (slip + terminal_m_s)


MINIMUM_CONVEYING_M_S = {
    "fine powder": (10.2, 12.2),
    "cement": (10.2, 11.2),
    "fly ash": (11.2, 12.2),
    "fine granules": (13.2, 15.2),
    "granular sugar": (16.3, 16.3),
}
"""
Lowest and highest minimum air velocity at the pick-up, dilute phase [m/s].

Source: D. Mills, "Pickup velocity for pneumatic conveying", Powder & Bulk Solids, 13 January 2010.
"""


def pick_up_velocity_m_s(minimum_m_s: float) -> float:
    """
    Air velocity to design the pick-up for, 20 % over the minimum [m/s].

    >>> pick_up_velocity_m_s(10.2)
    12.24

    Source: Mills 2010, as above.
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


def particle_drag_coefficient(reynolds_number: float) -> float:
    """
    Drag coefficient of a sphere in three pieces: 24/Re, 18.5 Re^-0.6, 0.44 [-].

    >>> particle_drag_coefficient(0.1), particle_drag_coefficient(20.0), particle_drag_coefficient(1e4)
    (240.0, 3.07, 0.44)

    Source: Stokes, intermediate and Newton ranges as in Rhodes, ch. 2 (from memory).
    """
    if reynolds_number < 0.3:
        return 24.0 / reynolds_number
    return 18.5 * math.pow(reynolds_number, -0.6) if reynolds_number < 500.0 else 0.44


def rhodes_horizontal_pa(
    flux_kg_m2_s: float,
    velocity_m_s: float,
    length_m: float,
    bore_m: float,
    particle_size_m: float,
    particle_density_kg_m3: float,
    density_kg_m3: float,
    viscosity_pa_s: float,
    fanning: float = 0.005,
) -> float:
    """
    Pressure drop of a horizontal run with acceleration of gas and solids, after Hinkle [Pa].

    Very conservative for fine powders; here as a second opinion beside lambda_s.

    Args:
        flux_kg_m2_s: Solids mass flow / area.
        velocity_m_s: Superficial air velocity.
        length_m: Of the run.
        bore_m: Inside.
        particle_size_m: Mean size.
        particle_density_kg_m3: Of the grain.
        density_kg_m3: Of the air.
        viscosity_pa_s: Of the air.
        fanning: Friction factor of the air after Fanning.

    >>> rhodes_horizontal_pa(127.3, 16.15, 30.0, 0.05, 1e-4, 2500.0, 1.2, 1.84e-5) / 1e3
    37.1

    Source: Rhodes, Introduction to Particle Technology, eq. 8.15 and worked example 8.1 (from memory).
    """
    solids_m_s = velocity_m_s * hinkle_velocity_ratio(particle_size_m, particle_density_kg_m3)
    solids_share = flux_kg_m2_s / (particle_density_kg_m3 * solids_m_s)
    air_m_s = velocity_m_s / (1.0 - solids_share)
    slip_m_s = air_m_s - solids_m_s
    drag = particle_drag_coefficient(density_kg_m3 * slip_m_s * particle_size_m / viscosity_pa_s)
    slip_ratio = slip_m_s / solids_m_s
    solids_fanning = 0.375 * density_kg_m3 / particle_density_kg_m3 * bore_m / particle_size_m
    solids_fanning *= drag * slip_ratio * slip_ratio
    air_push = (1.0 - solids_share) * density_kg_m3 * air_m_s * air_m_s
    acceleration = 0.5 * (air_push + flux_kg_m2_s * solids_m_s)
    friction = 2.0 * length_m / bore_m
    air = fanning * density_kg_m3 * velocity_m_s * velocity_m_s
    return acceleration + friction * (air + solids_fanning * flux_kg_m2_s * solids_m_s)


def rhodes_vertical_pa(
    flux_kg_m2_s: float,
    velocity_m_s: float,
    lift_m: float,
    bore_m: float,
    terminal_m_s: float,
    particle_density_kg_m3: float,
    density_kg_m3: float,
    fanning: float = 0.005,
) -> float:
    """
    Pressure drop of a riser without acceleration, solids friction after Konno and Saito [Pa].

    Args:
        flux_kg_m2_s: Solids mass flow / area.
        velocity_m_s: Superficial air velocity.
        lift_m: Of the riser.
        bore_m: Inside.
        terminal_m_s: Of a single particle; solids rise at the air velocity between them less this.
        particle_density_kg_m3: Of the grain.
        density_kg_m3: Of the air.
        fanning: Friction factor of the air after Fanning.

    >>> rhodes_vertical_pa(52.32, 14.825, 10.0, 0.078, 0.52, 2500.0, 1.2) / 1e3
    1.148

    Source: Rhodes, eq. 8.15 and worked example 8.1 (from memory).
    """
    solids_share = 0.0
    for _ in range(20):
        solids_m_s = velocity_m_s / (1.0 - solids_share) - terminal_m_s
        solids_share = flux_kg_m2_s / (particle_density_kg_m3 * solids_m_s)
    air_friction = 2.0 * fanning * density_kg_m3 * velocity_m_s * velocity_m_s * lift_m / bore_m
    solids_friction = 0.057 * flux_kg_m2_s * lift_m * math.sqrt(GRAVITY / bore_m)
    weight = (particle_density_kg_m3 * solids_share + density_kg_m3 * (1.0 - solids_share)) * GRAVITY * lift_m
    return air_friction + solids_friction + weight


def additional_drop_coulson_pa(
    air_drop_pa: float, velocity_m_s: float, terminal_m_s: float, particle_density_kg_m3: float
) -> float:
    """
    What solids add to the drop of a horizontal line, 2805 dp_air / (u0 us^2), us = u - slip [Pa].

    The slip is u0 / (0.468 + 7.25 sqrt(u0 / rho_s)).

    >>> additional_drop_coulson_pa(9570.0, 24.7, 4.7, 2600.0) / 1e3
    16.4

    Source: Coulson and Richardson, Chemical Engineering vol. 2, 5th ed., example 5.3.
    """
    slip_m_s = terminal_m_s / (0.468 + 7.25 * math.sqrt(terminal_m_s / particle_density_kg_m3))
    solids_m_s = velocity_m_s - slip_m_s
    return 2805.0 * air_drop_pa / (terminal_m_s * solids_m_s * solids_m_s)
