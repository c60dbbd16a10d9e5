"""Whether and how far a blank's upper face is milled to the thickness of the fit."""

from __future__ import annotations

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.units import inches
from blankcam.parts.frames import Box
from blankcam.parts.part import Part

BESIDE: float = table("cutting")["air"]["beside_face"]


def off(part: Part, blank: Box, by: str) -> float:
    """How much the machine takes off the blank's face, mm; 0 where it does not or need not."""
    return -blank.y0 if by == "mill" and needed(part, blank.y1 - blank.y0) else 0.0


def needed(part: Part, thick: float) -> bool:
    """Whether a blank so thick, mm, is thicker than its seat takes."""
    return thick > part.fit.high + 1e-9


def too_thin(part: Part, blank: Box) -> list[Fault]:
    """A fault where a blank is thinner than its part."""
    thick = blank.y1 - blank.y0
    short = part.thickness - thick
    if short <= 1e-9:
        return []
    return [
        Fault(
            where=part.name,
            key=f"blanks.{part.name}.thickness",
            found=f"{thick:g} mm",
            wrong=f"is {short:.3f} mm ({inches(short)} in) thinner than the finished part",
            fix=f"take a blank of at least {part.thickness:.3f} mm",
        )
    ]


def too_thick(part: Part, blank: Box) -> list[Fault]:
    """A fault where more would come off one face than a machine should take."""
    thick, most = blank.y1 - blank.y0, float(table("limits")["thickness"]["most"])
    if thick - part.thickness <= most + 1e-9:
        return []
    return [
        Fault(
            where=part.name,
            key=f"blanks.{part.name}.thickness",
            found=f"{thick:g} mm",
            wrong=f"the blank is {thick - part.thickness:.2f} mm too thick: over {most:g} mm off "
            "one face it bows and its glue lets go",
            fix=f"saw or plane it to {part.thickness + most:.2f} mm first",
        )
    ]


def caution(part: Part) -> str:
    """What to tell of a thickness that the machine brings about."""
    return (
        f"the {part.name}'s milled thickness is as good as the blank's measure and the touch-off: "
        f"measure it, it must end between {part.fit.low:.3f} and {part.fit.high:.3f} mm"
    )
