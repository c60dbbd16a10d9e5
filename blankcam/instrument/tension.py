"""What a string weighs, pulls and presses: unit weight, tension, stress, stiffness, break angle.

Lengths in millimetres, gauges in millimetres, unit weights in grams a metre, forces in newtons,
stresses in megapascals, angles in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blankcam.data import table

NEWTONS_PER_POUND = 4.4482216152605


@dataclass(frozen=True, slots=True, kw_only=True)
class StringForce:
    """One string at pitch, and how far its data can be trusted."""

    unit_weight: float
    """Grams a metre."""
    unit_weight_band: float
    """What the unit weight is good to, as a fraction either way; 0 where the job gives it."""
    tension: float
    """Newtons."""
    stress: float
    """Megapascals in the part that carries the pull: the core of a wound steel string."""
    stiffness: float
    """E A / T of that part; a number without a unit."""
    stiffness_band: float
    """What the stiffness is good to, as a fraction either way; 0 where the job gives it."""
    bending_radius: float
    """Radius of the part that bends as one: the core's for wound steel, else half the gauge."""
    assumed: tuple[str, ...]
    """What was assumed, in words, for the layout to show."""


def area(diameter: float) -> float:
    """Cross-section in square millimetres."""
    return math.pi * diameter**2 / 4


def effective_density(make: str, gauge: float) -> float:
    """Grams per cubic centimetre over the whole cross-section; wound makes by gauge.

    Raises
    ------
    KeyError
        No such make.
    """
    return _by_gauge(table("strings")[make]["density"], gauge)


def core_fraction(make: str, gauge: float) -> float:
    """Diameter of what carries the pull, as a fraction of the gauge."""
    return _by_gauge(table("strings")[make]["core"], gauge)


def _by_gauge(value: float | list[list[float]], gauge: float) -> float:
    """A table's value, read off between gauges where it is a list."""
    if isinstance(value, float):
        return value
    gauges, values = zip(*value, strict=True)
    return float(np.interp(gauge, gauges, values))


def unit_weight(make: str, gauge: float) -> float:
    """Grams a metre from make and gauge, as good as the table's ``band`` (10-15 % for most)."""
    return effective_density(make, gauge) * area(gauge)


def tension(unit_weight_: float, scale: float, frequency: float) -> float:
    """``T = 4 μ L² f²`` in newtons (Mersenne's law): μ in g/m, L in mm, f in Hz."""
    return 4 * unit_weight_ * 1e-3 * (scale * 1e-3) ** 2 * frequency**2


def pounds(newtons: float) -> float:
    """Newtons as pounds-force."""
    return newtons / NEWTONS_PER_POUND


def string_force(
    *,
    make: str,
    gauge: float,
    scale: float,
    frequency: float,
    unit_weight_given: float | None = None,
    stiffness_given: float | None = None,
) -> StringForce:
    """Weigh and stretch one string; what the job leaves out is taken from the make's table.

    Raises
    ------
    KeyError
        No such make.
    """
    data = table("strings")[make]
    given = unit_weight_given is not None
    weight = unit_weight_given if unit_weight_given is not None else unit_weight(make, gauge)
    pull = tension(weight, scale, frequency)
    core = core_fraction(make, gauge) * gauge
    stress = pull / area(core)
    stiffness, how = _stiffness(make, core / gauge, stress, stiffness_given)
    return StringForce(
        unit_weight=weight,
        unit_weight_band=0.0 if given else data["band"],
        tension=pull,
        stress=stress,
        stiffness=stiffness,
        stiffness_band=0.0 if stiffness_given is not None else data["stiffness_band"],
        bending_radius=core / 2,
        assumed=(() if given else (_weight_words(make, weight),)) + how,
    )


def _weight_words(make: str, weight: float) -> str:
    band = table("strings")[make]["band"]
    return f"unit weight {weight:.3g} g/m from make and gauge, good to {band:.0%}"


def _stiffness(
    make: str, core: float, stress: float, given: float | None
) -> tuple[float, tuple[str, ...]]:
    """E A / T of the part that carries, and how it was found where it was not given."""
    if given is not None:
        return given, ()
    data = table("strings")[make]
    good = f"good to {data['stiffness_band']:.0%}"
    if "modulus" not in data:
        value = float(data["stiffness"])
        return value, (f"stiffness {value:.0f} (EA/T), typical of {make}, {good}",)
    value = data["modulus"] * 1e3 / stress
    part = "" if core == 1.0 else f" of a core {core:.2f} of the gauge"
    words = f"stiffness {value:.0f} (EA/T) from E = {data['modulus']:.0f} GPa{part}, {good}"
    return value, (words,)


def break_angle(*, z_nut: float, z_saddle: float, length: float, z_tie: float, run: float) -> float:
    """Bend of the string at the ridge in radians.

    It comes from ``z_nut`` over ``length`` to ``z_saddle`` and leaves to ``z_tie`` in ``run``.
    """
    return math.atan2(z_saddle - z_nut, length) + math.atan2(z_saddle - z_tie, run)


def downforce(pull: float, bend: float) -> float:
    """Resultant of the two legs on the ridge, ``2 T sin(θ/2)``, along their bisector."""
    return 2 * pull * math.sin(bend / 2)


def force_cautions(force: StringForce, *, note: str, make: str, kind: str) -> list[str]:
    """What is unlikely about a string at its pitch; most often a wrong note or gauge in the job."""
    data = table("strings")[make]
    low, high = table("targets")[kind]["tension"]
    check = "check its note, gauge, make and unit weight"
    found = []
    if force.stress > data["stress_most"]:
        found.append(
            f"{note}: {force.stress:.0f} MPa is more than {make} stands"
            f" ({data['stress_most']:.0f} MPa): {check}"
        )
    elif force.stress < data["stress_least"]:
        found.append(f"{note}: {force.stress:.0f} MPa is too slack for {make}: {check}")
    if not low <= force.tension <= high:
        found.append(
            f"{note}: a tension of {force.tension:.0f} N ({pounds(force.tension):.1f} lb) is "
            f"outside the {low:.0f} to {high:.0f} N usual for this kind: {check}"
        )
    return found


def weight_cautions(force: StringForce, *, note: str, make: str, gauge: float) -> list[str]:
    """A unit weight given that is far from what make and gauge weigh."""
    usual = unit_weight(make, gauge)
    if (
        abs(force.unit_weight / usual - 1)
        <= table("limits")["strings"]["weight_band"] * table("strings")[make]["band"]
    ):
        return []
    words = (
        f"{note}: {force.unit_weight:.3g} g/m is far from the {usual:.3g} g/m of {make} so thick"
    )
    return [words + ": check its unit weight, gauge and make"]


def bend_cautions(bend: float, *, note: str) -> list[str]:
    """A break angle too small to hold the string on the ridge, or one the wrong way."""
    if bend >= _least_break_angle():
        return []
    shown, least = math.degrees(bend), math.degrees(_least_break_angle())
    words = f"{note}: break angle {shown:.1f} degrees at the saddle is under {least:.0f}"
    return [words + ": the string may buzz on the ridge or slip sideways"]


def _least_break_angle() -> float:
    return math.radians(table("limits")["strings"]["break_angle"])


def lean_cautions(*, exposed: float, slot_depth: float) -> list[str]:
    """A saddle standing higher out of its slot than it goes in is levered forward by the strings.

    Common practice, no source.
    """
    if exposed <= slot_depth:
        return []
    words = f"saddle: {exposed:.2f} mm stand above the bridge on {slot_depth:.2f} mm in the slot"
    return [words + ": the strings will lean it toward the nut and may split the bridge"]
