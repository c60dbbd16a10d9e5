"""Both parts as pictures of characters for the terminal: the nut with its slots, the
saddle's top.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from blankcam.outputs.render import blocks
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage

LEAST, MOST = 40, 160
"""Columns a picture may take."""


def lines(
    parts: Sequence[Part], width: int, *, bass_left: bool = True, plain: bool = False
) -> list[str]:
    """The parts as lines no wider than ``width`` columns (at least 40), seen from the bridge.

    Heights are stretched and only the upper part is shown; both scales are written. ``plain``
    keeps to ASCII, for terminals without block characters.
    """
    wide = min(max(width, LEAST), MOST)
    ends = ("bass", "treble") if bass_left else ("treble", "bass")
    drawn = [blocks.render(_profile(p, wide, ends), plain=plain) for p in parts]
    return [line for i, one in enumerate(drawn) for line in ([""] if i else []) + list(one)]


@functools.singledispatch
def _profile(part: Part, wide: int, ends: tuple[str, str]) -> blocks.HeightProfile:
    """What is drawn of a part."""
    del wide, ends
    raise TypeError(type(part))


@_profile.register(Nut)
def _nut(nut: Nut, wide: int, ends: tuple[str, str]) -> blocks.HeightProfile:
    x = _columns(nut.length, wide)
    z = nut.at(Stage.FINAL).lower(x, np.zeros_like(x))
    for slot in nut.slots:  # a slot narrower than a column still shows
        at = min(int(slot.centre / (nut.length / wide)), wide - 1)
        z[at] = min(z[at], slot.floor_front)
    reach = max(max(s.depth_front for s in nut.slots) * 1.6, 0.8)
    return blocks.HeightProfile(
        title=f"Nut, {nut.length:.2f} x {nut.height:.2f} mm, from the bridge",
        heights=z,
        low=float(nut.height) - max(reach + _fall(nut.top.height(x)), 1.0),
        high=nut.height,
        length=nut.length,
        labels=tuple((s.centre, str(s.string), s.note) for s in nut.slots),
        ends=ends,
    )


@_profile.register(Saddle)
def _saddle(saddle: Saddle, wide: int, ends: tuple[str, str]) -> blocks.HeightProfile:
    z = np.asarray(saddle.top.height(_columns(saddle.length, wide)))
    return blocks.HeightProfile(
        title=f"Saddle, {saddle.length:.2f} x {saddle.height:.2f} mm, from the tail",
        heights=z,
        low=float(saddle.height) - max(_fall(z) * 1.3, 1.0),
        high=saddle.height,
        length=saddle.length,
        labels=tuple((s.centre, str(s.string), s.note) for s in saddle.strings),
        ends=ends,
    )


def _fall(z: Array) -> float:
    return float(np.max(z) - np.min(z))


def _columns(length: float, wide: int) -> Array:
    """Middle of each column along the part."""
    return np.asarray((np.arange(wide) + 0.5) * length / wide)
