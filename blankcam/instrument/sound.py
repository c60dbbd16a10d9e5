"""What each string of an instrument does: its pull, its errors at the frets, its press on the saddle.

The glue between the job's strings and the pure functions of ``tension`` and ``intonation``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.instrument import intonation, tension
from blankcam.instrument.board import Array
from blankcam.instrument.instrument import Instrument, StringPath, with_setbacks
from blankcam.instrument.intonation import FrettedString
from blankcam.instrument.pitch import hertz
from blankcam.instrument.tension import StringForce

CENTS_NOTICED = 3.0  # an error at a fret that is worth a word; our own choice
MODEL_WORDS = (
    "cents: a model of the fretted string (stretch, stiffness, heights, relief), which met a measured"
    " guitar's ranges within 0.15 cent; stiffness from a table moves them by more than that, and"
    " listeners told no difference between straight and individual setbacks: use them to compare"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StringSound:
    """One string at pitch."""

    number: int
    note: str
    hertz: float
    force: StringForce
    cents_before: tuple[float, ...]
    """Errors of frets 1 to 12 with the ridge at the nominal scale length; positive is sharp."""
    cents: tuple[float, ...]
    """The same at the ridge really cut."""
    break_angle: float | None
    """Radians; None where the job does not say where the string leaves behind the saddle."""
    downforce: float | None
    """Newtons on the saddle."""
    lean: float | None
    """The part of it that tips the saddle toward the nut, newtons."""


def forces(instrument: Instrument) -> tuple[StringForce, ...]:
    """Every string's pull and stiffness, from the bass side."""
    return tuple(
        tension.string_force(
            make=s.make,
            gauge=s.gauge,
            scale=instrument.board.scale,
            frequency=hertz(s.note),
            unit_weight_given=s.unit_weight,
            stiffness_given=s.stiffness,
        )
        for s in instrument.strings
    )


def fretted(instrument: Instrument, finger: float = 0.0) -> FrettedString:
    """All strings for the model at once, fields shaped (strings,).

    Heights are over the line of the fret tops under the string's own path, so that a board with a
    radius counts as the model's flat one: b is the lift, c what the string rises over that line, and
    the drop of the frets under the middle of that line is relief.
    """
    board, strings = instrument.board, instrument.strings
    force = forces(instrument)
    at_saddle = np.array([s.z_saddle - _fret_top(instrument, s, s.length) for s in strings])
    lift = np.array([s.lift for s in strings])
    return FrettedString(
        scale=board.scale,
        lift=lift,
        rise=at_saddle - lift,
        radius=np.array([f.bending_radius for f in force]),
        stiffness=np.array([f.stiffness for f in force]),
        finger=finger,
        relief=np.array([_drop(instrument, s) for s in strings]),
    )


def _fret_top(instrument: Instrument, string: StringPath, s: float) -> float:
    return float(instrument.board.fret_top(s, string.across(np.array(s))))


def _drop(instrument: Instrument, string: StringPath) -> float:
    """How far fret 12 lies under the straight line over the fret tops at both of the string's ends."""
    s12 = float(instrument.board.fret_at(12))
    t = s12 / string.length
    ends = [_fret_top(instrument, string, s) for s in (0.0, string.length)]
    return ends[0] * (1 - t) + ends[1] * t - _fret_top(instrument, string, s12)


def computed_setbacks(instrument: Instrument) -> tuple[float, ...]:
    """The setbacks that make the squares of the errors at frets 1 to 12 least, saddle alone, mm."""
    at_first = intonation.saddle_setback(fretted(instrument))
    moved = with_setbacks(instrument, [float(v) for v in at_first])
    return tuple(float(v) for v in intonation.saddle_setback(fretted(moved)))


def computed_setbacks_and_nut(
    instrument: Instrument,
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Setbacks and nut face offsets (below 0: toward the saddle) that together do it, mm."""
    at_first, _ = intonation.saddle_and_nut_setbacks(fretted(instrument))
    moved = with_setbacks(instrument, [float(v) for v in at_first])
    ridge, nut = intonation.saddle_and_nut_setbacks(fretted(moved))
    return tuple(float(v) for v in ridge), tuple(float(v) for v in nut)


def cents_lost(instrument: Instrument, wanted: Array) -> Array:
    """Cents at fret 12 that the ridges really cut give beyond those wanted, positive sharp."""
    reached = np.array([s.setback for s in instrument.strings])
    return intonation.reach_cost(fretted(instrument), wanted, reached)


def sounds(
    instrument: Instrument,
    *,
    tie_height: float | None = None,
    tie_run: float | None = None,
    nut_offsets: Array | float = 0.0,
) -> tuple[StringSound, ...]:
    """Every string, from the bass side.

    Parameters
    ----------
    instrument : with its setbacks as really cut
    tie_height, tie_run : where the strings leave behind the saddle, over the bridge top and behind
        the ridge, mm; both or none
    nut_offsets : of the nut's face, below 0 toward the saddle, mm
    """
    model = fretted(instrument)
    setbacks = np.array([s.setback for s in instrument.strings])
    before = intonation.cents(model)
    after = intonation.cents(model, setbacks, nut_offsets)
    made = []
    for i, (string, force) in enumerate(zip(instrument.strings, forces(instrument), strict=True)):
        bend = _bend(instrument, string, tie_height, tie_run)
        made.append(
            StringSound(
                number=string.number,
                note=string.note,
                hertz=hertz(string.note),
                force=force,
                cents_before=tuple(float(v) for v in before[i]),
                cents=tuple(float(v) for v in after[i]),
                break_angle=bend,
                downforce=None if bend is None else tension.downforce(force.tension, bend),
                lean=None if bend is None else tension.lean_force(force.tension, bend),
            )
        )
    return tuple(made)


def _bend(
    instrument: Instrument, string: StringPath, height: float | None, run: float | None
) -> float | None:
    if height is None or run is None:
        return None
    return tension.break_angle(
        z_nut=string.z_nut,
        z_saddle=string.z_saddle,
        length=string.length,
        z_tie=instrument.bridge_top + height,
        run=run,
    )


def total_tension(strings: tuple[StringSound, ...]) -> float:
    """Pull of the whole set, newtons."""
    return math.fsum(s.force.tension for s in strings)


def cautions(
    instrument: Instrument, strings: tuple[StringSound, ...], *, slot_depth: float
) -> Iterator[str]:
    """What is unlikely or risky about the strings and their heights, a line each."""
    for path, string in zip(instrument.strings, strings, strict=True):
        name = f"string {string.number} ({string.note})"
        yield from tension.force_cautions(
            string.force, note=name, make=path.make, kind=instrument.kind
        )
        yield from tension.weight_cautions(
            string.force, note=name, make=path.make, gauge=path.gauge
        )
        if string.break_angle is not None:
            yield from tension.bend_cautions(string.break_angle, note=name)
        worst = int(np.argmax(np.abs(string.cents)))
        if abs(string.cents[worst]) > CENTS_NOTICED:
            yield f"{name}: {string.cents[worst]:+.1f} cents at fret {worst + 1}"
    yield from _height_cautions(instrument)
    exposed = max(s.z_saddle for s in instrument.strings) - instrument.bridge_top
    yield from tension.lean_cautions(exposed=exposed, slot_depth=slot_depth)


def _height_cautions(instrument: Instrument) -> Iterator[str]:
    usual = table("targets")[instrument.kind]
    for string in instrument.strings:
        y1, y12 = string.clearance(instrument.board, np.array([1.0, 12.0]))
        for value, key, words in (
            (y1, "first_fret_range", "clearance at fret 1"),
            (y12, "action_range", "action at fret 12"),
        ):
            low, high = usual[key]
            if not low - 1e-9 <= value <= high + 1e-9:
                yield (
                    f"string {string.number} ({string.note}): {words} of {value:.2f} mm is outside"
                    f" the {low:g} to {high:g} mm usual for a {instrument.kind}"
                )
    low, high = usual["relief_range"]
    if not low <= instrument.board.relief <= high:
        yield f"relief of {instrument.board.relief:.2f} mm is outside the {low:g} to {high:g} mm usual"


SENSITIVITIES = (
    # Fret n moves by 1 - 2^(-n/12) of a change at the saddle and by the rest of one at the nut.
    "0.1 mm at the saddle moves the clearance at fret 12 by 0.05 mm and at fret 1 by 0.006 mm",
    "0.1 mm at the nut moves the clearance at fret 1 by 0.094 mm and at fret 12 by 0.05 mm",
)
