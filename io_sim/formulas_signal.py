"""
Formulas for 4-20 mA signals in whole microamperes, after NAMUR NE 43.

Pure functions; what a reader does with a signal outside the limits is his matter.
"""

from controller.image import MEASURED_HIGH_UA, MEASURED_LOW_UA

SHORTED_UA = 22_000  # a shorted loop gives what its supply allows; NE 43 calls 21 mA and more a failure


def signal_percent(current_ua: float) -> float:
    """
    Share of the span that a current stands for, (I - 4 mA) / 16 mA x 100 [%].

    >>> signal_percent(3_800)
    -1.25

    Source: definition of the 4-20 mA signal.
    """
    return (current_ua - 4_000.0) / 160.0


def current_ua(value: float, span: float, added_ua: float) -> int:
    """
    Current of a living transmitter with range 0..span, held within the NE 43 measuring range [whole uA].

    Args:
        value: What it measures.
        span: Value at 20 mA, in the same unit.
        added_ua: Noise or drift of the current.

    >>> current_ua(50e3, 100e3, 0.0)
    12000

    Source: NAMUR NE 43, 3.8 and 20.5 mA.
    """
    current = min(max(4_000.0 + 16_000.0 * value / span + added_ua, MEASURED_LOW_UA), MEASURED_HIGH_UA)
    return int(current + 0.5)
