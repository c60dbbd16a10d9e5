"""The lines of caution that open every file, and what may go under a laser."""

from __future__ import annotations

from blankcam.data import table
from blankcam.faults import Fault, RefusedError

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
        for note in _dust_of(material):
            lines += words["material"][note]
    lines += words["machine"][machine]
    if by_hand and machine != "hand":
        lines += words["machine"]["hand"]
    return (*lines, *words["last"])


def _dust_of(material: str) -> list[str]:
    """The keys of a material's own lines; one nobody knows has those of ``unknown``."""
    rows = table("materials")
    row = rows[material] if isinstance(rows.get(material), dict) else rows["unknown"]
    return list(row["notes"])


def laser_cautions(path: str, material: str, stock: str | None = None) -> tuple[str, ...]:
    """What to say of a job of some material that a laser is to draw for.

    Parameters
    ----------
    path : the job's file, for the fault
    material : of the part's blank
    stock : what really lies under the laser, where that is something else (a template's card)

    Raises
    ------
    RefusedError
        The stock must not be cut by a laser, or is not known; without ``stock``, the material.
    """
    rules = table("laser")["materials"]
    under = (stock or material).lower()
    rule = rules.get(under, {"rule": "refuse", "why": "it is not known what its smoke is"})
    good = "card, wood or acrylic"
    if rule["rule"] == "refuse" or (stock and rule["rule"] == "template"):
        raise RefusedError(
            Fault(
                where=path,
                key="blanks.material" if stock is None else "stock",
                found=under,
                wrong=f"must not be cut by a laser: {rule['why']}",
                fix=f"cut a template of {good} and work the part by hand or with a mill",
            )
        )
    if rule["rule"] == "template":
        return (f"laser: cut templates of {good} only, never the {material} itself: {rule['why']}",)
    return (f"laser, {under}: {rule['why']}",) if rule["why"] else ()
