"""Sets of strings as their gauges are written on a packet: ``12-16-24w-32w-42w-53w``.

From string 1 on, the treble's; in thousandths of an inch, or under 5 in millimetres; ``w`` for a
wound one. Of strings in pairs one gauge a pair will do.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from blankcam.data import table
from blankcam.inputs.units import parse_length

_GAUGE = re.compile(r"(?P<gauge>\d{1,3}\.?\d{0,4}|\.\d{1,4})(?P<wound>w?)", re.ASCII)
_BETWEEN = re.compile(r"[\s,-]+")
_MILLIMETRES_UNDER = 5.0
_INCHES_UNDER = 0.2
_MOST = 24


def words(kind: str) -> str:
    """What is asked, and the usual sets of a kind."""
    sets = "; ".join(f"{name} {gauges}" for name, gauges in table("sets")[kind].items())
    usual = f" Usual ones: {sets}." if sets else ""
    return (
        "the set's gauges from string 1 on, the treble's, in thousandths of an inch or in mm, w for"
        f" a wound string.{usual} Or"
    )


def shown(strings: Sequence[Mapping[str, Any]]) -> str:
    """Strings as a set; ``strings`` from the bass side on, as in a job file."""
    return "-".join(_shown(s) for s in _of_each_course(strings))


def strings_of(text: str, strings: Sequence[Mapping[str, Any]], kind: str) -> list[dict[str, Any]]:
    """The strings with the gauges and makes of a set; empty where the text is no set for them.

    Parameters
    ----------
    text : a set, as its gauges or by the name it has for a kind of instrument
    strings : from the bass side on, as in a job file
    """
    named = str(table("sets")[kind].get(text.strip().lower(), text.strip()))
    found = [_GAUGE.fullmatch(part) for part in _BETWEEN.split(named)[: _MOST + 1]]
    gauges = [(_length(f["gauge"]), bool(f["wound"])) for f in found if f is not None]
    each = len(gauges) == len(strings)
    if len(gauges) != len(found) or not (each or len(gauges) == len(_of_each_course(strings))):
        return []
    plain, wound = _makes(strings)
    courses = list(dict.fromkeys(_course(s) for s in reversed(strings)))
    made = []
    for place, string in enumerate(reversed(strings)):
        gauge, is_wound = gauges[place if each else courses.index(_course(string))]
        made.append({**string, "gauge": gauge, "make": wound if is_wound else plain})
    return made[::-1]


def _course(string: Mapping[str, Any]) -> tuple[str, int]:
    if "course" in string:
        return "course", int(string["course"])
    return "string", int(string["number"])


def _of_each_course(strings: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The first string of each course, the treble's first."""
    return list({_course(s): s for s in reversed(strings)}.values())


def _makes(strings: Sequence[Mapping[str, Any]]) -> tuple[str, str]:
    """The plain and the wound make of an instrument's strings."""
    makes = [str(s["make"]) for s in strings]
    plain = next((m for m in makes if not m.startswith("wound")), "")
    wound = next((m for m in makes if m.startswith("wound")), "")
    steel = "steel" in (plain or wound)
    return (
        plain or ("plain steel" if steel else "nylon"),
        wound or ("wound steel" if steel else "wound nylon"),
    )


def _length(number: str) -> str:
    value = float(number)
    if value < _INCHES_UNDER:
        return f"{number} in"
    if value < _MILLIMETRES_UNDER:
        return f"{number} mm"
    return f"{value / 1000:.4f}".rstrip("0").ljust(5, "0") + " in"


def _shown(string: Mapping[str, Any]) -> str:
    gauge = str(string["gauge"])
    number, _, unit = gauge.partition(" ")
    if unit == "in":
        number = f"{parse_length(gauge) / 0.0254:.2f}".rstrip("0").rstrip(".")
    return number + ("w" if str(string["make"]).startswith("wound") else "")
