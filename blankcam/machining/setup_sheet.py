"""What every operation of a set-up shares."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import feeds
from blankcam.machining.feeds import Material
from blankcam.machining.request import CutRequest
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box, ReferenceSurface, Setup, Touch, Zero
from blankcam.parts.stage import Stage

BESIDE: float = table("cutting")["air"]["beside"]
HOP: float = table("cutting")["air"]["hop"]
PAPER: float = table("cutting")["touch"]["paper"]
OVER: float = table("cutting")["touch"]["over"]
SMALLEST: float = table("cutting")["touch"]["smallest"]
STANDING = 0.02
"""mm that may stand over a surface already cut: cusps, and what rounding adds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A blank on a machine."""

    profile: Profile
    material: Material
    stage: Stage
    stock: Box
    clearance: float
    """Z of the clearance plane."""
    outline: Callable[[Array], Array] | None = None
    """Height over x of what an outline cut before has left; None where the whole blank stands."""
    uncut: bool = False
    """The top is the hand's: what is cut after it is cut from all that stands."""
    ridge: float = 0.0
    """mm that stand over the top at most where a flat tool has cut it in steps."""

    def stands(self, x: Array) -> Array:
        """Height of what stands over x before the top is cut, mm."""
        high = np.full_like(x, self.stock.z1)
        return high if self.outline is None else np.minimum(high, self.outline(x))


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupSheet:
    """How a blank is held and zeroed for the programs of one set-up."""

    setup: Setup
    holding: Holding
    zeros: tuple[Zero, ...]
    stock: Box
    """What stands of the blank when it begins, in the set-up's own axes."""


def setup_on_face(face: Bench, tools: Iterable[Tool]) -> SetupSheet:
    """The blank lying on its face, to be worked by those tools."""
    held = face.profile.holding
    walls = held.face_top if held.on_face == "fixture" else 0.0
    touch = _touch(tools, face.stock.z0 + walls, 0.0)
    return SetupSheet(
        setup=Setup.FACE,
        holding=held,
        zeros=_zeros_on_face(face, walls, touch),
        stock=face.stock,
    )


def setup_on_edge(request: CutRequest, edge: Bench, tools: Iterable[Tool]) -> SetupSheet:
    """The blank, or what the outline has left of it, in the jaws, to be worked by those tools."""
    part, held = request.part, edge.profile.holding
    x, y = np.zeros(2), np.array([0.0, part.thickness])
    lowest = float(np.min(part.at(edge.stage).surface.height(x, y)))
    bottoms = (s.step.bottom for s in part.slots if s.step is not None)
    touch = _touch(tools, held.jaws, min(lowest, *bottoms, math.inf))
    return SetupSheet(
        setup=Setup.EDGE,
        holding=held,
        zeros=_zeros_on_edge(request, edge, touch),
        stock=edge.stock,
    )


def _touch(tools: Iterable[Tool], over: float, up_to: float) -> Touch | None:
    """The stoutest tool whose side can touch between two heights, ball noses by their
    full width.
    """
    tip = over + OVER
    able = [
        t
        for t in tools
        if t.diameter >= SMALLEST
        and (t.shape is Shape.FLAT or (t.shape is Shape.BALL and tip + t.radius <= up_to))
    ]
    if not able or tip >= up_to:
        return None
    best = max(able, key=lambda t: (t.shape is Shape.FLAT, t.diameter, -t.number))
    return Touch(number=best.number, diameter=best.diameter, paper=PAPER, tip=tip)


def _zeros_on_face(face: Bench, walls: float, touch: Touch | None) -> tuple[Zero, ...]:
    surface = ReferenceSurface.WALL_TOP if walls else ReferenceSurface.WASTE_BOARD
    left = ReferenceSurface.BLANK_LEFT_END
    return (
        Zero(axis="X", surface=left, value=face.stock.x0, touch=touch),
        Zero(axis="Y", surface=ReferenceSurface.SEAT_SIDE, touch=touch),
        Zero(
            axis="Z",
            surface=surface,
            value=face.stock.z0 + walls,
            upper_face=face.stock.z1 if face.stock.z1 > 0 else None,
        ),
    )


def _zeros_on_edge(request: CutRequest, edge: Bench, touch: Touch | None) -> tuple[Zero, ...]:
    side = ReferenceSurface.NUT_SIDE if request.turned else request.part.seen_side
    walls = edge.profile.holding.kind == "fixture"
    top = ReferenceSurface.WALL_TOP if walls else ReferenceSurface.JAW_TOP
    left, at = _left_end(request, edge)
    return (
        Zero(axis="X", surface=left, value=at, touch=touch),
        Zero(axis="Y", surface=side, touch=touch),
        Zero(axis="Z", surface=top, value=edge.profile.holding.jaws),
    )


def _left_end(request: CutRequest, edge: Bench) -> tuple[ReferenceSurface, float]:
    """Which left end stands there, and its x."""
    if request.label.readings_digest:
        return ReferenceSurface.LEFT_END, 0.0
    if edge.outline is not None:
        return ReferenceSurface.CUT_LEFT_END, 0.0
    return ReferenceSurface.BLANK_LEFT_END, edge.stock.x0


def set_up(request: CutRequest, *, y0: float = 0.0) -> Bench:
    """The whole blank of a request on edge; ``y0``: where its lower face is then, mm."""
    machine, jaws = request.machine, request.machine.holding.jaw_top
    stock = dataclasses.replace(request.blank, y0=y0)
    return Bench(
        profile=machine,
        material=feeds.material(request.material),
        stage=request.stage,
        stock=stock,
        clearance=(stock.z1 if jaws == "auto" else max(stock.z1, jaws)) + machine.clearance,
    )
