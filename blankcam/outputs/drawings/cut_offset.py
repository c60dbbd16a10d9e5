"""How far a machine's drawings are moved out, and what the maker must know beside them."""

from __future__ import annotations

from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape


def moved_out(profile: Profile, tool: int | None = None) -> tuple[str, float] | None:
    """What the outlines of a machine's drawings are moved out for, ``kerf`` or ``tool``, its width.

    ``tool``: number of a router's tool; its widest flat one where None.
    """
    if profile.kind == "laser":
        return ("kerf", profile.kerf)
    if profile.kind != "router":
        return None
    flat = [t for t in profile.tools if t.shape is Shape.FLAT and tool in (None, t.number)]
    width = max((t.diameter for t in flat), default=0.0)
    return ("tool", width) if width else None


def drawing_cautions(release: str, moved: tuple[str, float] | None) -> tuple[str, ...]:
    """What the maker must be told beside the drawings; ``moved`` as of ``moved_out``."""
    said = []
    if release == "R12":
        said.append("DXF R12 can't say its unit: set millimetres where you open it")
    if moved is not None and moved[1]:
        what, width = moved
        said.append(
            f"the DXF holds the outlines moved out by half a {what} of {width:.3f} mm: set the "
            f"machine's own {what} offset to zero"
        )
    return tuple(said)
