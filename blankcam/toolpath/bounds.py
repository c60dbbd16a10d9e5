"""Whether moves keep to what the machine and the holding allow."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from blankcam.faults import Fault
from blankcam.inputs.machine import Profile
from blankcam.toolpath.moves import Arc, Line, Operation, Rapid


def travel_faults(where: str, profile: Profile, operations: Iterable[Operation]) -> list[Fault]:
    """A fault for each axis along which the operations need more travel than the machine has."""
    places = np.array(
        [m.to for o in operations for m in o.moves if isinstance(m, (Rapid, Line, Arc))]
    )
    faults = []
    for i, axis in enumerate("xyz"):
        span = float(np.nanmax(places[:, i]) - np.nanmin(places[:, i]))
        limit = getattr(profile.travel, axis)
        if span > limit:
            faults.append(
                Fault(
                    where=where,
                    key=f"travel.{axis}",
                    found=f"{limit:g} mm",
                    wrong=f"is less than the {span:.1f} mm this part needs",
                    fix="use a larger machine",
                )
            )
    return faults
