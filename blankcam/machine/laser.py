"""What may go under a laser, and what must not."""

from __future__ import annotations

from blankcam.data import table
from blankcam.faults import Fault, RefusedError


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
                mend=f"cut a template of {good} and work the part by hand or with a mill",
            )
        )
    if rule["rule"] == "template":
        return (f"laser: cut templates of {good} only, never the {material} itself: {rule['why']}",)
    return (f"laser, {under}: {rule['why']}",) if rule["why"] else ()
