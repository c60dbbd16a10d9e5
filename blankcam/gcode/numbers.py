"""How many decimals a program carries: the one place where a coordinate is rounded.

Four decimals in millimetres and five in inches keep the two radii of any arc of this trade within
0.0003 mm of one another, well inside the 0.002 mm of RS274/NGC (NISTIR 6556 §3.5.3.2); three and
four do not.
"""

from __future__ import annotations

from fractions import Fraction

PLACES = {"mm": 4, "inch": 5}
MM_PER_UNIT = {"mm": 1.0, "inch": 25.4}
_STEPS_PER_MM = {
    units: (Fraction(10**places) / Fraction(str(MM_PER_UNIT[units]))).as_integer_ratio()
    for units, places in PLACES.items()
}
ARC_TOLERANCE = 0.002
"""mm by which start and end radius of an arc may differ."""


def units_of(mm: float, units: str) -> int:
    """A length in whole steps of the last decimal of a program in those units; exact, half to even.

    In whole numbers: a tenth of the time that fractions take.
    """
    top, bottom = mm.as_integer_ratio()
    times, by = _STEPS_PER_MM[units]
    steps, rest = divmod(top * times, whole := bottom * by)
    return steps + (2 * rest > whole or (2 * rest == whole and steps % 2))


def text_of(steps: int, units: str) -> str:
    """Whole steps as a decimal number: no exponent, no plus sign, no trailing zeros, no ``-0``."""
    places = PLACES[units]
    sign, digits = "-" if steps < 0 else "", str(abs(steps)).zfill(places + 1)
    whole, part = digits[:-places], digits[-places:].rstrip("0")
    return f"{sign}{whole}.{part}" if part else f"{sign}{whole}"


def mm_of(steps: int, units: str) -> float:
    """What a machine reads from that number, mm."""
    return steps * MM_PER_UNIT[units] / float(10 ** PLACES[units])


def rate_text(rate: float, units: str) -> str:
    """A feed in mm/min as text, rounded down so that a limit stays one."""
    places = 1 if units == "mm" else 3
    steps = int(rate / MM_PER_UNIT[units] * 10**places)
    return f"{steps / 10**places:.{places}f}".rstrip("0").rstrip(".")
