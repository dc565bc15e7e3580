"""Chance: generators of random numbers in the state, the same for every engine."""

import math

from io_sim.state import NOISE_SEED, SEED, Floats

MODULUS = 2147483647.0  # 2^31 - 1


def draw(state: Floats) -> float:
    """Next number of the generator for feed and transmitters, even in -1..1."""
    return drawn(state, SEED)


def draw_noise(state: Floats) -> float:
    """Next number of the generator for instruments that fail or splash, even in -1..1."""
    return drawn(state, NOISE_SEED)


def drawn(state: Floats, place: int) -> float:
    """
    Next number of the generator whose seed stands at a place of the state.

    Lehmer's, 48271 s mod 2^31 - 1, whole numbers held exactly in floats (Park and Miller 1988, multiplier
    as revised in 1993).
    """
    product = 48271.0 * state[place]
    state[place] = product - math.floor(product / MODULUS) * MODULUS
    return 2.0 * state[place] / MODULUS - 1.0
