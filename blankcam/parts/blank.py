"""Whether a blank holds its part, and how much to rub off before it is cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Protocol

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.job import BlankJob, Job
from blankcam.inputs.units import inches
from blankcam.parts.fit import Fit


class Blanked(Protocol):
    """What a check needs to know of a part."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def length(self) -> float: ...  # noqa: D102
    @property
    def height(self) -> float: ...  # noqa: D102
    @property
    def fit(self) -> Fit: ...  # noqa: D102
    @property
    def allowance(self) -> float: ...  # noqa: D102


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One dimension of one blank against what the part needs."""

    part: str
    dimension: str
    have: float
    need: float
    """Least the blank must have (thickness: the fit's lower limit)."""
    rub_off: float = 0.0
    """Thickness: to take off before cutting, to the middle of the fit."""
    by: str = "hand"
    """Thickness: who takes it off, ``hand`` or ``mill``."""
    loose: float = 0.0
    """Thickness: how much the blank is under the fit's lower limit."""
    caution: str = ""


def checks(job: Job, part: Blanked) -> tuple[Check, ...]:
    """The three checks of a part's blank."""
    blank: BlankJob = getattr(job.blanks, part.name)
    return (
        Check(part=part.name, dimension="length", have=blank.length, need=part.length),
        Check(
            part=part.name,
            dimension="height",
            have=blank.height,
            need=part.height + part.allowance,
        ),
        _thickness(part, blank.thickness, job.plan.thickness),
    )


def _thickness(part: Blanked, have: float, by: str) -> Check:
    limits = part.fit
    off, loose, caution = 0.0, 0.0, ""
    if have > limits.high:
        off = have - limits.target
        ends = f"{off:.3f} mm ({inches(off)} in), down to {limits.target:.3f} mm "
        ends += f"({limits.low:.3f} to {limits.high:.3f} mm will do)"
        far = off > table("limits")["thickness"]["most"]
        caution = f"the {part.name} blank is thicker than its seat takes: " + (
            f"the program on face mills off {ends}"
            if by == "mill" and not far
            else f"{'saw, plane and ' if far else ''}rub off {ends} before cutting"
        )
    elif have < limits.low:
        loose = limits.low - have
        caution = (
            f"the {part.name} blank is {loose:.3f} mm ({inches(loose)} in) thinner than a "
            f"{limits.name} fit wants: it will have {limits.seat - have:.3f} mm of play: "
            "a thicker blank would not"
        )
    return Check(
        part=part.name, dimension="thickness", have=have, need=limits.low,
        rub_off=off, by=by, loose=loose, caution=caution,
    )  # fmt: skip


def refusals(path: str, found: Iterable[Check], part: Blanked) -> Iterator[Fault]:
    """Why a blank is too small for its part: dimension and shortfall of each."""
    loosest = part.fit.seat - table("limits")["play"]["most"]
    for c in found:
        least = min(loosest, c.need) if c.dimension == "thickness" else c.need
        if c.have < least - 1e-9:
            short = least - c.have
            yield Fault(
                where=path,
                key=f"blanks.{c.part}.{c.dimension}",
                found=f"{c.have:g} mm",
                wrong=f"too small by {short:.2f} mm ({inches(short, 3)} in)",
                fix=f"use one of at least {least:.2f} mm ({inches(least, 3)} in)",
            )
