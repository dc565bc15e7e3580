"""
Published methods for conveying lines: saltation, choking, drops with solids. A second opinion.

Pure functions in SI units; velocities are superficial air velocities unless said. The plant uses none of
them: `io_sim.formulas_line` has its laws, and the methods differ among themselves by a factor of 20.
"""

import math

from io_sim.formulas_line import GRAVITY


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
