"""The lines of caution that open every file."""

from __future__ import annotations

from blankcam.cutting.feeds import material as material_row
from blankcam.data import table

LONGEST = 66


def notice(material: str, kind: str, *, by_hand: bool = False) -> tuple[str, ...]:
    """The lines for a material and a machine.

    Parameters
    ----------
    material
        As in the job; a material nobody knows gets the general line on dust.
    kind
        ``mill``, ``router``, ``laser`` or ``hand``.
    by_hand
        Whether the material is also worked by hand: its dust matters beside a laser too.
    """
    words = table("notice")
    machine = "mill" if kind == "router" else kind
    lines = list(words["first_hand" if machine == "hand" else "first"])
    lines += words["person"]["eyes"]
    if machine != "laser" or by_hand:
        lines += words["person"]["breath"]
        for note in material_row(material).notes:
            lines += words["material"][note]
    lines += words["machine"][machine]
    if by_hand and machine != "hand":
        lines += words["machine"]["hand"]
    return (*lines, *words["last"])
