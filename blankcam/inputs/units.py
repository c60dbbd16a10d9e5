"""Quantities as makers write them, a number and its unit, read exactly.

``"1 11/16 in"``, ``"7/64 in"``, ``"1.25 ft"``, ``".024 in"``, ``"24 thou"``, ``'0.024"'``,
``"43.5 mm"``, ``"800 mm/min"``, ``"7 deg"``, ``"36 h"``. A decimal comma, a bare number or an
unknown unit is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

MM_PER_INCH = Fraction(254, 10)  # exact by definition since 1959
_GRAMS_PER_POUND = Fraction("453.59237")  # exact by definition since 1959
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
Units = Literal["mm", "in", "both"]
"""What lengths and forces are written in: metric, imperial, or one with the other in brackets."""
LONGEST_TEXT = 40
HINT = 'write a number and a unit, such as "43.5 mm", "1 11/16 in" or "0.024 in"'

_QUANTITY = re.compile(
    r"""(?P<sign>[-+]?)\s*
    (?: (?P<whole>\d+)(?:\s+|-)(?P<n1>\d+)/(?P<d1>\d+)     # 1 11/16 or 1-11/16
      | (?P<n2>\d+)/(?P<d2>\d+)                            # 7/64
      | (?P<decimal>\d+\.?\d*|\.\d+) )                     # 43.5
    \s*(?P<unit>(?:[a-zA-Z"″°][a-zA-Z0-9/²]*|1/min|%)?)""",
    re.VERBOSE | re.ASCII,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """What kind of quantity it is: its name in messages and the factor of each of its units."""

    name: str
    units: dict[str, Fraction]
    """Factor to the program's own unit by each unit's name in small letters."""
    unit: str
    """The program's own unit."""
    usual: str
    """The units worth naming to a maker."""
    example: str
    fix: str
    """What would do, with an example."""


def _dimension(name: str, example: str, units: dict[str, Fraction | int], usual: str) -> Dimension:
    return Dimension(
        name=name,
        unit=next(iter(units)),
        units={unit.lower(): Fraction(factor) for unit, factor in units.items()},
        usual=usual,
        example=example,
        fix=f'write it like "{example}"',
    )


def _per(ending: str) -> dict[str, Fraction | int]:
    return {f"{unit}/{ending}": factor for unit, factor in MM_PER.items()}


LENGTH = Dimension(
    name="length",
    unit="mm",
    units=MM_PER,
    usual="mm, cm, in, ft or thou",
    example="43.5 mm",
    fix=HINT,
)
FEED = _dimension("feed", "800 mm/min", _per("min"), "mm/min or in/min")
ACCELERATION = _dimension("acceleration", "100 mm/s2", _per("s2") | _per("s²"), "mm/s2 or in/s2")
SPEED = _dimension("speed", "10000 rpm", {"rpm": 1, "1/min": 1}, "rpm")
POWER = _dimension("power", "150 W", {"W": 1, "kW": 1000}, "W or kW")
FORCE = _dimension("force", "30 N", {"N": 1}, "N")
TIME = _dimension("time", "15 s", {"s": 1, "min": 60}, "s or min")
ANGLE = _dimension("angle", "7 deg", {"deg": 1, "°": 1}, "deg")
SHARE = _dimension("share", "0.03 %", {"%": 1, "mm/m": Fraction(1, 10)}, "% or mm/m")
UNIT_WEIGHT = _dimension(
    "weight by length",
    "10.2 g/m",
    {"g/m": 1, "lb/in": _GRAMS_PER_POUND / (MM_PER_INCH / 1000)},
    "g/m or lb/in",
)
HOURS = _dimension(
    "time",
    "36 h",
    {"h": 1, "hour": 1, "hours": 1, "d": 24, "day": 24, "days": 24},
    "h or days",
)


class UnfitError(ValueError):
    """A value that will not do: what is wrong with it, and what would do."""

    def __init__(self, wrong: str, fix: str = "") -> None:
        super().__init__(f"{wrong}; {fix}" if fix else wrong)
        self.wrong, self.fix = wrong, fix


def parse_exact(text: str, dimension: Dimension = LENGTH) -> Fraction:
    """The quantity in the program's own unit (mm, mm/min, rpm, W, N, s, deg, g/m, h), exact.

    Raises
    ------
    UnfitError
        With what is wrong and what would do, in words for the maker.
    """
    if len(text) > LONGEST_TEXT:
        raise UnfitError(f"too long for {with_article(dimension.name)}", dimension.fix)
    found = _QUANTITY.fullmatch(text.strip())
    if found is None:
        if "," in text:
            raise UnfitError("a comma can't stand in a number, use a point", dimension.fix)
        raise UnfitError(f"not {with_article(dimension.name)}", dimension.fix)
    unit = found["unit"].lower()
    if not unit:
        raise UnfitError("has no unit", dimension.fix)
    if unit not in dimension.units:
        raise UnfitError(f"unit {found['unit']!r} is not known here", f"use {dimension.usual}")
    return _value(found, dimension) * dimension.units[unit] * (-1 if found["sign"] == "-" else 1)


def parse_quantity(text: str, dimension: Dimension) -> float:
    """The quantity in the program's own unit; raises UnfitError as ``parse_exact`` does."""
    return float(parse_exact(text, dimension))


def parse_length(text: str) -> float:
    """The length in millimetres; raises UnfitError as ``parse_exact`` does."""
    return float(parse_exact(text))


def with_article(noun: str) -> str:
    """``an angle``, ``a length``."""
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def _value(found: re.Match[str], dimension: Dimension) -> Fraction:
    if found["decimal"] is not None:
        return Fraction(found["decimal"])
    under = int(found["d1"] or found["d2"])
    if under == 0:
        raise UnfitError("divides by zero", dimension.fix)
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
