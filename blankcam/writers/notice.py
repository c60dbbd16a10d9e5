"""The lines of caution that open every file."""

from __future__ import annotations

from blankcam.cutting.feeds import material as material_row
from blankcam.data import table

LONGEST = 66


def notice(material: str, kind: str) -> tuple[str, ...]:
    """The lines for a material and a machine.

    Parameters
    ----------
    material
        As in the job; a material nobody knows gets the general line on dust.
    kind
        ``mill``, ``router``, ``laser`` or ``hand``.
    """
    words = table("notice")
    machine = "mill" if kind == "router" else kind
    lines = list(words["first_hand" if machine == "hand" else "first"])
    lines += words["person"]["eyes"]
    if machine != "laser":
        lines += words["person"]["breath"]
        for note in material_row(material).notes:
            lines += words["material"][note]
    lines += words["machine"][machine]
    return (*lines, *words["last"])
