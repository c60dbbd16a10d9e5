"""Lengths in the words of a drawing whose reader switches between millimetres and inches.

A length stands between two marks that no words of a job can hold, with as many digits as make it
read the same in both units as the length itself.
"""

from __future__ import annotations

import re

from blankcam.inputs.units import Units
from blankcam.outputs.figures import measure

OPEN, CLOSE = "\ue000", "\ue001"
PLACES = 2
"""Decimals of a millimetre where the mark names no others."""
_MARKED = re.compile(f"{OPEN}(-?[\\d.]+)(?:;(\\d))?{CLOSE}")


def marked(mm: float, places: int = PLACES) -> str:
    """A length, marked."""
    wanted = _readings(mm, places)
    digits = next((d for d in range(places, 7) if _readings(round(mm, d), places) == wanted), 7)
    named = "" if places == PLACES else f";{places}"
    return f"{OPEN}{mm:z.{digits}f}{named}{CLOSE}"


def _readings(mm: float, places: int) -> tuple[str, str]:
    return measure(mm, "mm", places, "mm"), measure(mm, "mm", places, "in")


def reading(text: str, units: Units = "mm") -> str:
    """Words with their marked lengths in those units."""
    return _MARKED.sub(lambda m: measure(float(m[1]), "mm", int(m[2] or PLACES), units), text)


def in_braces(text: str) -> str:
    """Words for the page's script, which reads the units there."""
    return text.replace(OPEN, "{").replace(CLOSE, "}")
