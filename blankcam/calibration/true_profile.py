"""What was found of a machine, and its profile with that in it."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from blankcam.calibration.estimate import Guess, MachineEstimate, first_guess
from blankcam.calibration.measures import backlash, scale, wide, z_offset
from blankcam.calibration.piece import Coupon
from blankcam.inputs.tool import Tool

LEARNED = 0.8
"""A thing was measured where its uncertainty is below this share of what it was before."""
LEAST = 0.0005
"""mm, the last digit that is written: nothing is surer than that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTool:
    """What was found of a tool; None where it was not measured."""

    tool: Tool
    wide: Guess | None
    """By how much it cuts wider than it is sold."""
    z_offset: Guess | None
    """How much higher its tip is than reckoned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundAxis:
    """What was found of an axis."""

    axis: str
    backlash: Guess
    scale: Guess
    backlash_measured: bool
    scale_measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """All that a test piece says of a machine."""

    day: str
    tools: tuple[FoundTool, ...]
    axes: tuple[FoundAxis, ...]


def found_of(piece: Coupon, estimate: MachineEstimate, day: str) -> Found:
    """What an estimate says of the piece's tools and of the axes."""
    return Found(
        day=day,
        tools=tuple(
            FoundTool(
                tool=tool,
                wide=_learned(estimate, wide(tool.number)),
                z_offset=_learned(estimate, z_offset(tool.number)),
            )
            for tool in piece.tools
        ),
        axes=tuple(_axes(estimate)),
    )


def _learned(estimate: MachineEstimate, unknown: str) -> Guess | None:
    """The value of what was measured; None of what is not known better than before."""
    if unknown not in estimate.names:
        return None
    guess = estimate.guess(unknown)
    before = first_guess(unknown, estimate.good_to)
    return guess if guess.sigma < LEARNED * before.sigma else None


def _axes(estimate: MachineEstimate) -> Iterator[FoundAxis]:
    """Each axis; what was not measured is taken to be none, as unsure as it was before."""
    for axis in "xyz":
        play, share = _learned(estimate, backlash(axis)), _learned(estimate, scale(axis))
        before = first_guess(backlash(axis), estimate.good_to)
        yield FoundAxis(
            axis=axis,
            backlash=play or Guess(value=0.0, sigma=before.sigma),
            scale=share or Guess(value=0.0, sigma=estimate.guess(scale(axis)).sigma),
            backlash_measured=play is not None,
            scale_measured=share is not None,
        )


def with_found(tables: Mapping[str, Any], found: Found) -> dict[str, Any]:
    """The tables of a machine's profile with what was found of it beside its own values.

    What was not measured stays as it was.
    """
    made = copy.deepcopy(dict(tables))
    made["measured"] = found.day
    for axis in found.axes:
        for key, value in _of_axis(axis).items():
            known = axis.backlash_measured if key.startswith("backlash") else axis.scale_measured
            made.setdefault(key, {})
            if known or axis.axis not in made[key]:
                made[key][axis.axis] = value
    tools = {t.tool.number: t for t in found.tools}
    for entry in made["tools"]:
        if (tool := tools.get(entry["number"])) is not None:
            entry.update(_of_tool(tool))
    return made


def _of_axis(found: FoundAxis) -> dict[str, str]:
    return {
        "backlash": _mm(max(found.backlash.value, 0.0)),
        "backlash_within": _within(found.backlash),
        "scale": f"{100 * found.scale.value:.4f} %",
        "scale_within": f"{100 * found.scale.within:.4f} %",
    }


def _of_tool(found: FoundTool) -> dict[str, str]:
    said = {}
    if found.wide is not None:
        said["effective_diameter"] = _mm(found.tool.label + found.wide.value)
        said["effective_within"] = _within(found.wide)
    if found.z_offset is not None:
        said["z_offset"] = _mm(found.z_offset.value)
        said["z_within"] = _within(found.z_offset)
    return said


def _mm(value: float) -> str:
    return f"{value:.4f} mm"


def _within(guess: Guess) -> str:
    return _mm(max(guess.within, LEAST))
