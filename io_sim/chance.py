"""Chance: one generator of random numbers in the state, the same for every engine."""

import math

from io_sim.state import SEED, Floats

MODULUS = 2147483647.0  # 2^31 - 1


def draw(state: Floats) -> float:
    """
    Next number of the state's own generator, even in -1..1.

    Lehmer's, 48271 s mod 2^31 - 1, whole numbers held exactly in floats (Park and Miller 1988, multiplier
    as revised in 1993).
    """
    product = 48271.0 * state[SEED]
    state[SEED] = product - math.floor(product / MODULUS) * MODULUS
    return 2.0 * state[SEED] / MODULUS - 1.0
