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


def laser_cautions(where: str, material: str, stock: str) -> tuple[str, ...]:
    """What to say of templates that a laser is to cut for a part.

    Parameters
    ----------
    where : the machine's profile, for the fault
    material : of the part, which is worked by hand or on a mill
    stock : what lies under the beam; empty where nobody said

    Raises
    ------
    RefusedError
        The stock must not be cut by a laser, or is not known.
    """
    rules, under = table("laser")["materials"], stock.strip().lower()
    unknown = {"rule": "refuse", "why": "it is not known what its smoke is"}
    good = "card, wood or acrylic"
    part = rules.get(material, unknown)
    rule = rules.get(under, unknown) if under else {"rule": "cut", "why": ""}
    if rule["rule"] != "cut":
        wrong = f"must not be cut by a laser: {rule['why']}"
        fix = f"put {good} under it, and work the part by hand or with a mill"
        raise RefusedError(Fault(where=where, key="stock", found=stock, wrong=wrong, fix=fix))
    said = []
    if part["rule"] != "cut":
        of = under or good
        said.append(f"laser: templates of {of} only, never the {material} itself: {part['why']}")
    if rule["why"]:
        said.append(f"laser, {under}: {rule['why']}")
    return tuple(said)
