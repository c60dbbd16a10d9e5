"""Quantities of a machine profile, each a text with its unit: ``"800 mm/min"``, ``"10000 rpm"``."""

from __future__ import annotations

import math
import re

from blankcam.inputs.units import parse_length

_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+))\s*(.+?)\s*", re.ASCII)

_UNITS: dict[str, dict[str, float]] = {
    "speed": {"rpm": 1.0, "1/min": 1.0},
    "power": {"W": 1.0, "kW": 1000.0},
    "force": {"N": 1.0},
    "time": {"s": 1.0, "min": 60.0},
    "angle": {"deg": 1.0},
}
_RATES = {"feed": "/min", "acceleration": "/s2"}
EXAMPLES = {
    "length": "3 mm",
    "feed": "800 mm/min",
    "acceleration": "100 mm/s2",
    "speed": "10000 rpm",
    "power": "150 W",
    "force": "30 N",
    "time": "15 s",
    "angle": "15 deg",
}


def parse(text: str, what: str) -> float:
    """A quantity in mm, mm/min, mm/s², rpm, W, N, s or degrees.

    Parameters
    ----------
    text
        As written in the profile; lengths as ``blankcam.inputs.units`` reads them.
    what
        One of the keys of ``EXAMPLES``.

    Raises
    ------
    ValueError
        With what is wrong and what would do.
    """
    if what == "length":
        return parse_length(text)
    if what in _RATES:
        return _rate(text, _RATES[what], EXAMPLES[what])
    found = _NUMBER.fullmatch(text[:40])
    if not found or found[2] not in _UNITS[what]:
        raise ValueError(f'not a {what}; write it like "{EXAMPLES[what]}"')
    value = float(found[1]) * _UNITS[what][found[2]]
    if not math.isfinite(value):
        raise ValueError(f"not a finite {what}")
    return value


def _rate(text: str, ending: str, example: str) -> float:
    head, bar, tail = text.replace("s²", "s2").rpartition("/")
    if not bar or f"/{tail.strip()}" != ending:
        raise ValueError(f'lacks its unit; write it like "{example}"')
    return parse_length(head)
