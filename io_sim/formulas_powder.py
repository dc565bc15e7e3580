"""
Formulas for filters, hoppers and batches.

Pure functions in SI units unless an argument names another.
"""

import math

GRAVITY = 9.81
HANGING_SWING = 0.75  # a hanging flap opens to about 75 degrees, cos 75 = 0.26; estimate
FULL_SPEED_AT = 0.2  # of the force that drives a flap home: less surplus moves it slower; estimate


def filter_drop_pa(
    face_velocity_m_s: float, clean_drag_pa_s_m: float, cake_resistance_1_s: float, cake_kg_m2: float
) -> float:
    """
    Pressure drop of a cloth with cake, (S_R + K2 W) v, v = actual volume flow / cloth area [Pa].

    >>> filter_drop_pa(0.05, 20e3, 1e5, 0.2)
    2000.

    Source: filter drag model, EPA Air Pollution Control Cost Manual, baghouse chapter.
    """
    return (clean_drag_pa_s_m + cake_resistance_1_s * cake_kg_m2) * face_velocity_m_s


def pulse_jet_drop_in_h2o(velocity_ft_min: float, pulse_psig: float, k2: float, cake_lb_ft2: float) -> float:
    """
    Pressure drop of a bag house cleaned by pulses, 6.08 V Pj^-0.65 + K2 W0 V, in the units of its source.

    Args:
        velocity_ft_min: Gas-to-cloth ratio V [ft/min].
        pulse_psig: Pulse pressure Pj, gauge [psi].
        k2: Specific cake resistance [in.H2O/(lb/ft2 . ft/min)].
        cake_lb_ft2: Dust on the cloth W0 [lb/ft2].

    >>> pulse_jet_drop_in_h2o(4.68922, 100.0, 15.0, 0.0267956)
    3.3137

    Source: EPA Air Pollution Control Cost Manual, EPA/452/B-02-001, section 6, chapter 1
    (coefficients from memory).
    """
    return 6.08 * velocity_ft_min * math.pow(pulse_psig, -0.65) + k2 * cake_lb_ft2 * velocity_ft_min


def pulse_jet_ratio_ft_min(
    material: float, application: float, temperature_f: float, load_gr_ft3: float, size_um: float
) -> float:
    """
    Gas-to-cloth ratio for pulse jets, 2.878 A B T^-0.2335 L^-0.06021 (0.7471 + 0.0853 ln D) [ft/min].

    >>> pulse_jet_ratio_ft_min(9.0, 0.8, 275.0, 4.0, 7.0)
    4.689

    Source: EPA manual as above (coefficients from memory, they reproduce its printed 4.69).
    """
    spread = 0.7471 + 0.0853 * math.log(size_um)
    lead = 2.878 * material * application * spread
    return lead * math.pow(temperature_f, -0.2335) * math.pow(load_gr_ft3, -0.06021)


def pulse_effect(tank_pa_g: float, highest: float, offset_pa_g: float, scale_pa: float) -> float:
    """
    Share of the cake that one pulse takes off, highest x (1 - exp(-(p - offset) / scale)) [-].

    >>> pulse_effect(6e5, 0.85, 1e5, 1.5e5)
    0.82

    Source: an estimate of this project, to be replaced by measurement.
    """
    if tank_pa_g <= offset_pa_g:
        return 0.0
    return highest * (1.0 - math.exp(-(tank_pa_g - offset_pa_g) / scale_pa))


def beverloo_kg_s(
    bulk_density_kg_m3: float, bore_m: float, particle_size_m: float, coefficient: float, shape: float
) -> float:
    """
    Free discharge of a granular solid through a round hole, C rho_b sqrt(g) (D - k d)^2.5 [kg/s].

    Valid for d > 0.4 mm and D > 6 d; independent of the filling height. Air between finer grains slows them
    3 to 10 times (multiply by a flow factor).

    >>> beverloo_kg_s(1600.0, 0.3, 0.02, 0.56, 1.5)
    106.

    Source: Beverloo, Leniger, van de Velde 1961; the figure is from a public worked example.
    """
    free = max(bore_m - shape * particle_size_m, 0.0)
    return coefficient * bulk_density_kg_m3 * math.sqrt(GRAVITY) * free * free * math.sqrt(free)


def johanson_kg_s(bulk_density_kg_m3: float, bore_m: float, half_angle_rad: float) -> float:
    """
    Mass-flow discharge of a conical hopper, rho_b A sqrt(D g / (4 tan theta)) [kg/s].

    Valid for coarse free-flowing solids, cone angle from the vertical.

    >>> johanson_kg_s(550.0, 0.15, math.radians(20))
    9.8

    Source: Johanson 1965 (from memory).
    """
    area = math.pi / 4.0 * bore_m * bore_m
    return bulk_density_kg_m3 * area * math.sqrt(bore_m * GRAVITY / (4.0 * math.tan(half_angle_rad)))


def heap_height_m(volume_m3: float, bore_m: float, radius_m: float, repose_rad: float) -> float:
    """
    Height of a heap, filled on the axis of an upright cylinder, at a distance from the axis [m].

    A cone of the angle of repose on a full cylinder; while the cone does not reach the wall it stands alone.
    Level on average: 50 l in a 0.6 m cylinder are 0.177 m, and the wall sees less:

    >>> heap_height_m(0.05, 0.6, 0.0, 0.6), heap_height_m(0.05, 0.6, 0.3, 0.6)
    (0.314, 0.108)

    Source: geometry.
    """
    radius = bore_m / 2.0
    steep = math.tan(repose_rad)
    full_cone = math.pi / 3.0 * radius * radius * radius * steep
    if volume_m3 >= full_cone:
        base = (volume_m3 - full_cone) / (math.pi * radius * radius)
        return base + (radius - radius_m) * steep
    foot = math.pow(3.0 * max(volume_m3, 0.0) / (math.pi * steep), 1.0 / 3.0)
    return max(foot - radius_m, 0.0) * steep


def free_fall_time_s(batch_kg: float, rate_kg_s: float, tail_kg: float) -> float:
    """
    Time to empty a batch at a rate that dies away over the last `tail_kg`, down to 1 % of the tail [s].

    The rate is W (1 - exp(-m / tail)); closed form tail/W x ln((e^(m0/tail) - 1) / (e^0.01 - 1)).

    >>> free_fall_time_s(7.7, 3.5, 0.3)
    2.59

    Source: integral of the rate above, which is an estimate of this project.
    """
    full = batch_kg / tail_kg
    return tail_kg / rate_kg_s * (full + math.log(-math.expm1(-full)) - math.log(math.expm1(0.01)))


def product_load_pa(bulk_density_kg_m3: float, bore_m: float) -> float:
    """
    Most that product presses on a closed flap, however high it stands, 1.25 rho_b g D [Pa].

    >>> product_load_pa(830.0, 0.1)
    1018.

    Source: Janssen's saturation (any textbook of bulk solids) with wall friction times stress ratio of 0.2.
    """
    return 1.25 * bulk_density_kg_m3 * GRAVITY * bore_m


def swing_shut_s(travel_s: float, counterweight_n: float, product_n: float) -> float:
    """
    Time in which an emptied hanging flap swings from wide open to its seat [s].

    The counterweight alone closes it, on an arm that is short while it hangs wide open, 1 - s x; full speed
    takes a share of counterweight and product load. dx/dt = -min(r (1 - s x), 1) / T with r = C / F gives
    T (y + ln((1 - s y) / (1 - s)) / (r s)), at full speed from y = (1 - 1 / r) / s down, if that is over 0.

    >>> swing_shut_s(0.25, 0.4, 8.0)
    1.94

    Source: an estimate of this project, the law of `io_sim.flap` without product.
    """
    effort = counterweight_n / (FULL_SPEED_AT * (counterweight_n + product_n))
    full = min(max((1.0 - 1.0 / effort) / HANGING_SWING, 0.0), 1.0)
    slow = math.log((1.0 - HANGING_SWING * full) / (1.0 - HANGING_SWING)) / (effort * HANGING_SWING)
    return travel_s * (full + slow)


def throughput_kg_h(batch_kg: float, cycle_s: float) -> float:
    """
    Product conveyed in an hour, batch / time of the whole cycle [kg/h].

    >>> throughput_kg_h(8.0, 22.0)
    1309.09

    Source: definition.
    """
    return 3_600.0 * batch_kg / cycle_s
