"""Outlines moved out for the width of the cut: a laser's kerf or a router's tool."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from blankcam.inputs.machine import MachineKind, Profile
from blankcam.inputs.tool import Shape

if TYPE_CHECKING:
    from blankcam.outputs.drawing import Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """How far beside an outline the middle of the cut must run."""

    kind: str
    """``kerf`` (a laser's) or ``tool`` (a router's)."""
    width: float
    """Width of the whole cut: the kerf, or the tool's diameter, mm."""

    @property
    def out(self) -> float:
        """Half of it."""
        return self.width / 2


def offset_for(profile: Profile, tool: int | None = None) -> Offset | None:
    """What a machine's outlines are moved out by; None for a mill or the hand, which need none.

    ``tool``: number of a router's tool; its widest flat one where None.
    """
    if profile.kind is MachineKind.LASER:
        return Offset(kind="kerf", width=profile.kerf)
    if profile.kind is not MachineKind.ROUTER:
        return None
    flat = [t for t in profile.tools if t.shape is Shape.FLAT and tool in (None, t.number)]
    width = max((t.diameter for t in flat), default=0.0)
    return Offset(kind="tool", width=width) if width else None


def with_offset(drawing: Drawing, way: Offset | None) -> Drawing:
    """The drawing with each outline that is cut moved out; the true one stays for the eye.

    Raises
    ------
    ValueError
        An outline has a place too narrow for it.
    """
    if way is None or way.width == 0:
        return drawing
    # here, for ``layout`` wants the cautions below and no drawing
    from blankcam.parts.offset import offset

    moved = (replace(p, chain=offset(p.chain, way.out)) for p in drawing.paths if p.cut)
    true = (replace(p, holds="true size", cut=False) if p.cut else p for p in drawing.paths)
    return replace(drawing, paths=(*true, *moved))


def drawing_cautions(release: str, way: Offset | None) -> tuple[str, ...]:
    """What whoever opens the DXF files must know."""
    said = []
    if release == "R12":
        said.append("DXF R12 cannot name its unit: choose millimetres where you open it")
    if way is not None and way.width:
        said.append(
            f"the outlines in the DXF are already moved out by half a {way.kind} of "
            f"{way.width:.3f} mm: set the machine's own {way.kind} offset to zero"
        )
    return tuple(said)
