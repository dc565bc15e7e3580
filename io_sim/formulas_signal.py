"""
Formulas for 4-20 mA signals in whole microamperes, after NAMUR NE 43.

Pure functions; what a reader does with a signal outside the limits is his matter.
"""

from controller.image import MEASURED_HIGH_UA, MEASURED_LOW_UA

MEASURING_LOW_UA, MEASURING_HIGH_UA = MEASURED_LOW_UA, MEASURED_HIGH_UA
"""A healthy transmitter stays within these."""


def signal_percent(current_ua: float) -> float:
    """
    Share of the span that a current stands for, (I - 4 mA) / 16 mA x 100 [%].

    >>> signal_percent(3_800)
    -1.25

    Source: definition of the 4-20 mA signal.
    """
    return (current_ua - 4_000.0) / 160.0


def signal_ua(value: float, span: float) -> float:
    """
    Current of a healthy transmitter with range 0..span, held within the NE 43 measuring range [uA].

    >>> signal_ua(50e3, 100e3)
    12000.0

    Source: NAMUR NE 43, 3.8 and 20.5 mA.
    """
    return min(max(4_000.0 + 16_000.0 * value / span, MEASURING_LOW_UA), MEASURING_HIGH_UA)
