"""Whether a blank is held well enough, and whether the tools keep clear of what holds it."""

from __future__ import annotations

from collections.abc import Sequence

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box

GRIP: float = table("cutting")["holding"]["grip"]
GRIP_SHARE: float = table("cutting")["holding"]["grip_share"]
TAPE_TOOL: float = table("cutting")["holding"]["tape_tool"]
TAPE_AREA: float = table("cutting")["holding"]["tape_area"]
JAW_ROOM: float = table("cutting")["holding"]["jaw_room"]


def edge_faults(part: str, holding: Holding) -> list[Fault]:
    """What can't hold a blank on its edge at all."""
    if holding.kind in ("vice", "fixture"):
        return []
    return [
        Fault(
            where=f"{part}, on edge",
            key="holding.kind",
            found=holding.kind,
            wrong="can't hold a blank on its edge",
            fix="use a vice with soft jaws or a fixture",
        )
    ]


def jaw_faults_at(part: str, holding: Holding, name: str, low: float) -> list[Fault]:
    """A fault where the operation of that name, as low as ``low``, comes too near the jaws."""
    if low >= holding.jaws + JAW_ROOM - 1e-9:
        return []
    return [
        Fault(
            where=f"{part}, on edge",
            key="holding.jaw_top",
            found=f"{holding.jaws:g} mm",
            wrong=f"{cut_words(name, low)}, within {JAW_ROOM:g} mm of the {holding.grip}",
            fix=f"hold it no higher than {low - JAW_ROOM:.2f} mm",
        )
    ]


def cut_words(cut: str, low: float) -> str:
    """How far down the operation of that name goes."""
    return f"for the {cut} a tool goes down to {low:.2f} mm over the seat side"


def tape_faults(part: str, holding: Holding, tool: Tool, area: float) -> list[Fault]:
    """Tape alone is refused under larger tools on small faces; ``area`` in mm²."""
    if holding.on_face != "tape" or tool.diameter <= TAPE_TOOL or area >= TAPE_AREA:
        return []
    return [
        Fault(
            where=f"{part}, on face",
            key="holding.face" if holding.face == "tape" else "holding.kind",
            found="tape",
            wrong=f"tape alone does not hold {area:.0f} mm2 under a {tool.diameter:g} mm cutter",
            fix="glue it to a carrier as well, or use a fixture",
        )
    ]


def face_faults(
    part: str, holding: Holding, stock: Box, *, outline: bool, thickness: bool
) -> list[Fault]:
    """What can't be done to a blank lying on face, held so; ``stock`` in the machine's axes."""
    where, how = f"{part}, on face", holding.on_face
    if how == "clamps" and thickness:
        wrong = "the clamps stand on the face that is to be milled"
        fix = 'glue it to a waste board: face = "carrier"'
        return [Fault(where=where, key="holding.face", found=how, wrong=wrong, fix=fix)]
    if how == "fixture" and outline:
        wrong = "walls can't hold what is cut all around"
        fix = 'set outline = "saw" in [plan], or face = "carrier"'
        return [Fault(where=where, key="holding.face", found=how, wrong=wrong, fix=fix)]
    if how != "fixture":
        return []
    need, most = max(GRIP, (stock.z1 - stock.z0) * GRIP_SHARE), -stock.z0 - JAW_ROOM
    if need <= holding.face_top + 1e-9 <= most + 2e-9:
        return []
    wrong = f"grips a blank that is {-stock.z0:.2f} mm thick in the end too "
    wrong += "low" if holding.face_top < need else "high"
    fix = f"{need:.2f} to {most:.2f} mm" if need <= most else 'too thin: use face = "carrier"'
    found = f"{holding.face_top:g} mm"
    return [Fault(where=where, key="holding.face_top", found=found, wrong=wrong, fix=fix)]


def clamp_top(holding: Holding, stock: Box) -> float:
    """The highest thing on face, z."""
    return stock.z1 + (holding.clamp_height if holding.on_face == "clamps" else 0.0)


def clamped_fault(
    part: str, holding: Holding, name: str, tool: Tool, what: str, short: float
) -> Fault:
    """The fault of a tool ``short`` mm too near a clamp; ``what``: cutter, shank or holder."""
    fix = [f"a blank {2 * short:.1f} mm longer"]
    if short < holding.clamp_reach:
        fix.append(f"clamps that reach {short:.1f} mm less")
    if what != "cutter":
        fix.append("lower clamps")
    return Fault(
        where=f"{part}, on face",
        key="holding.clamp_reach",
        found=f"{holding.clamp_reach:g} mm",
        wrong=f"the {what} of tool {tool.number} would pass nearer than {JAW_ROOM:g} mm "
        f"to a clamp in {name}",
        fix=", or ".join(fix),
    )


def cylinders(tool: Tool, profile: Profile) -> tuple[tuple[str, float, float], ...]:
    """What turns, as a name, a radius and the height of its lower end over the tip."""
    return (
        ("cutter", tool.radius, 0.0),
        ("shank", tool.shank / 2, tool.reach),
        ("holder", profile.holder_diameter / 2, tool.stick_out),
    )


def travel_faults(where: str, profile: Profile, reaches: Sequence[Box]) -> list[Fault]:
    """A fault for each axis along which the operations' ``reaches`` span more than its travel."""
    if not reaches:
        return []
    each = [[(getattr(r, f"{axis}0"), getattr(r, f"{axis}1")) for r in reaches] for axis in "xyz"]
    spans = [max(high for _, high in e) - min(low for low, _ in e) for e in each]
    return short_travel(where, profile, spans)


def short_travel(where: str, profile: Profile, spans: Sequence[float]) -> list[Fault]:
    """A fault for each of the axes x, y, z whose travel is less than its span, mm."""
    limits = [
        (axis, span, getattr(profile.travel, axis)) for axis, span in zip("xyz", spans, strict=True)
    ]
    return [
        Fault(
            where=where,
            key=f"travel.{axis}",
            found=f"{limit:g} mm",
            wrong=f"is less than the {span:.1f} mm this part needs",
            fix="use a larger machine",
        )
        for axis, span, limit in limits
        if span > limit
    ]
