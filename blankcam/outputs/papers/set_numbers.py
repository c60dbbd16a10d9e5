"""Numbers that a list has set at a machine, written as its controller takes them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from blankcam.gcode.changes import Length
from blankcam.gcode.header import exact
from blankcam.inputs.machine import Profile
from blankcam.inputs.units import inches
from blankcam.outputs.figures import both
from blankcam.toolpath.air import deepest
from blankcam.toolpath.moves import Program


def to_set(machine: Profile) -> Length:
    """How a number is written that nothing but the controller is told: in its own unit alone."""
    if machine.controller.units == "inch":
        return lambda mm, places: f"{inches(mm, places + 2)} in"
    return lambda mm, places: f"{mm:.{places}f}"


def unit_first(machine: Profile) -> Length:
    """How a number to set at the machine is written: its own unit first."""

    def inches_first(mm: float, places: int) -> str:
        return f"{inches(mm, places + 2)} in ({mm:.{places}f} mm)"

    def millimetres_first(mm: float, places: int) -> str:
        return both(round(mm, places), places)

    return inches_first if machine.controller.units == "inch" else millimetres_first


def raised_by(programs: Sequence[Program], machine: Profile) -> float:
    """How much higher programs are run dry, mm, so that their deepest place passes over
    the work.
    """
    deep = max(p.stock.z1 - deepest(p.operations)[2] for p in programs)
    return float(math.ceil(deep + machine.clearance))


def dry_first(programs: Sequence[Program], machine: Profile) -> str:
    """How a program is run over the work: so much higher that its deepest place passes over it."""
    up = raised_by(programs, machine)
    given = next(z.value for z in programs[0].zeros if z.axis == "Z")
    told = to_set(machine)
    return (
        f"**Dry first**: the spindle off, and Z set {unit_first(machine)(up, 2)} lower than the "
        f"number given, for each tool that is touched off: {exact(given - up, told)} for "
        f"{exact(given, told)}. Everything then runs that much higher. Set Z to the number itself "
        "again before you cut."
    )
