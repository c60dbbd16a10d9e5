"""Lengths as makers write them, read exactly.

``"1 11/16 in"``, ``"7/64 in"``, ``"1.25 ft"``, ``".024 in"``, ``"24 thou"``, ``'0.024"'``,
``"43.5 mm"``, ``"4.4 cm"``. A decimal comma, a bare number or an unknown unit is refused.
"""

from __future__ import annotations

import re
from fractions import Fraction

MM_PER_INCH = Fraction(254, 10)  # exact by definition since 1959
MM_PER: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
}
LONGEST_TEXT = 40
HINT = 'write a number and a unit, such as "43.5 mm", "1 11/16 in" or "0.024 in"'

_NUMBER = re.compile(
    r"""(?P<sign>[-+]?)\s*
    (?: (?P<whole>\d+)(?:\s+|-)(?P<n1>\d+)/(?P<d1>\d+)     # 1 11/16 or 1-11/16
      | (?P<n2>\d+)/(?P<d2>\d+)                            # 7/64
      | (?P<decimal>\d+\.?\d*|\.\d+) )                     # 43.5
    \s*(?P<unit>[a-zA-Z"″]*)""",
    re.VERBOSE | re.ASCII,
)


def parse_exact(text: str) -> Fraction:
    """The length in millimetres, exact.

    Raises
    ------
    ValueError
        With what is wrong and what would do, in words for the maker.
    """
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"too long for a length; {HINT}")
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        comma = "a comma can't stand in a number, use a point" if "," in text else "not a length"
        raise ValueError(f"{comma}; {HINT}")
    unit = found["unit"].lower()
    if not unit:
        raise ValueError(f"has no unit; {HINT}")
    if unit not in MM_PER:
        raise ValueError(f"unit {found['unit']!r} is not known; use mm, cm, in, ft or thou")
    return _value(found) * MM_PER[unit] * (-1 if found["sign"] == "-" else 1)


def parse_length(text: str) -> float:
    """The length in millimetres; raises ValueError as ``parse_exact`` does."""
    return float(parse_exact(text))


def _value(found: re.Match[str]) -> Fraction:
    if found["decimal"] is not None:
        return Fraction(found["decimal"])
    under = int(found["d1"] or found["d2"])
    if under == 0:
        raise ValueError(f"divides by zero; {HINT}")
    return Fraction(found["whole"] or 0) + Fraction(int(found["n1"] or found["n2"]), under)


def inches(mm: float, places: int = 4) -> str:
    """Inches beside millimetres, as decimals."""
    return f"{mm / 25.4:.{places}f}"


def sixty_fourths(mm: float) -> str:
    """The nearest 1/64 in, reduced, as makers say it: ``1 11/16``."""
    whole, rest = divmod(round(mm / 25.4 * 64), 64)
    part = Fraction(rest, 64)
    words = [str(whole)] if whole or not rest else []
    return " ".join([*words, f"{part.numerator}/{part.denominator}"] if rest else words)
