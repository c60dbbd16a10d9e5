"""What an error in one measurement does to the strings, for values that were assumed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from blankcam.inputs.job import Job
from blankcam.instrument import uncertainty
from blankcam.instrument.board import Array
from blankcam.instrument.heights import Instrument

ERROR = 0.1
"""The error whose effect is told, mm."""
SOURCES = {
    "board.fret_height": "fret_height",
    "nut.seat_drop": "seat_drop",
    "saddle.slot_depth": "slot_depth",
    "saddle.fret_line": "fret_line",
    "saddle.front_at": "front_at",
}
"""The measurements that the scatter knows, by their keys, as it calls them."""
TOLD = 0.005
"""Changes under this are not worth a word, mm; cents under ten times as much."""


def effect_of(job: Job, instrument: Instrument, key: str) -> str:
    """What 0.1 mm of error in a key moves, in words; empty where the scatter does not know it.

    ``instrument`` : as designed, compensation as really cut
    """
    source = SOURCES.get(key)
    if source is None:
        return ""
    off, right = (
        uncertainty.true_strings(job, instrument, _draw(job, instrument, {source: e}))
        for e in (ERROR, 0.0)
    )
    clearance = np.abs(off.clearance - right.clearance)[0]
    cents = float(np.max(np.abs(off.cents - right.cents)[0, :, 11]))
    moved = [
        f"fret {fret} by {value:.2f} mm"
        for fret in (1, 12)
        if (value := float(np.max(clearance[:, fret - 1]))) >= TOLD
    ]
    moved += [f"its cents by {cents:.1f}"] if cents >= 10 * TOLD else []
    return f"{ERROR:g} mm off moves " + ", ".join(moved) if moved else ""


def _draw(job: Job, instrument: Instrument, off: Mapping[str, float]) -> dict[str, Array]:
    """One draw in which nothing is off but what is named."""
    drawn = uncertainty.draw(job, instrument, 1, 0)
    return {name: np.full_like(values, off.get(name, 0.0)) for name, values in drawn.items()}
