"""What every operation of a set-up shares."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Holding, Profile
from blankcam.machining import feeds
from blankcam.machining.feeds import Material
from blankcam.machining.request import CutRequest
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box, ReferenceSurface, Setup, Zero
from blankcam.parts.stage import Stage

BESIDE: float = table("cutting")["air"]["beside"]
HOP: float = table("cutting")["air"]["hop"]
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


def setup_on_face(face: Bench) -> SetupSheet:
    """The blank lying on its face."""
    return SetupSheet(
        setup=Setup.FACE,
        holding=face.profile.holding,
        zeros=_zeros_on_face(face.stock),
        stock=face.stock,
    )


def setup_on_edge(request: CutRequest, edge: Bench) -> SetupSheet:
    """The blank, or what the outline has left of it, in the jaws."""
    return SetupSheet(
        setup=Setup.EDGE,
        holding=edge.profile.holding,
        zeros=_zeros_on_edge(request, edge),
        stock=edge.stock,
    )


def _zeros_on_face(stock: Box) -> tuple[Zero, ...]:
    return (
        Zero(axis="X", surface=ReferenceSurface.BLANK_LEFT_END, value=stock.x0),
        Zero(axis="Y", surface=ReferenceSurface.SEAT_SIDE),
        Zero(axis="Z", surface=ReferenceSurface.UPPER_FACE, value=stock.z1),
    )


def _zeros_on_edge(request: CutRequest, edge: Bench) -> tuple[Zero, ...]:
    left, seat = ReferenceSurface.LEFT_END, Zero(axis="Z", surface=ReferenceSurface.SEAT_SIDE)
    if request.turned:
        return (
            Zero(axis="X", surface=left),
            Zero(axis="Y", surface=ReferenceSurface.NUT_SIDE),
            Zero(axis="Z", surface=ReferenceSurface.UNDERSIDE, value=request.blank.z1),
        )
    front = Zero(axis="Y", surface=request.part.seen_side)
    if request.label.readings_digest:
        return Zero(axis="X", surface=left), front, seat
    if edge.outline is not None:
        return Zero(axis="X", surface=ReferenceSurface.CUT_LEFT_END), front, seat
    blank = Zero(axis="X", surface=ReferenceSurface.BLANK_LEFT_END, value=edge.stock.x0)
    return blank, front, seat


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
