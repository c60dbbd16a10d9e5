"""What to do at a change of tool, step by step: what to fit, what to touch, which number to set."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from blankcam.gcode.header import touch_words
from blankcam.inputs.machine import Controller
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Zero

Length = Callable[[float, int], str]
"""Writes mm with so many decimals, in whatever unit."""
_MM = re.compile(r"(-?\d+(?:\.(\d+))?) mm(?![/\w])")
FINEST = 4
"""Decimals of an inch at least: 0.0001 in is 2.5 µm."""


def in_units_of(controller: Controller, text: str) -> str:
    """A text with every length in it as the controller's programs have lengths.

    Words of operations and set-ups say millimetres; this is the one place where they become inches.
    """
    if controller.units == "mm":
        return text
    return _MM.sub(_inches, text)


def _inches(found: re.Match[str]) -> str:
    places = max(FINEST, len(found[2] or "") + 2)
    return f"{float(found[1]) / 25.4:.{places}f} in"


def steps(
    tool: Tool, name: str, zeros: Iterable[Zero], controller: Controller, length: Length
) -> Iterator[str]:
    """What to do for a tool before the first of its moves, in order.

    Parameters
    ----------
    name : of the tool and how far it sticks out, as the reader of the steps knows it
    """
    yield "stop the spindle and wait until it stands still"
    yield f"fit {name}"
    if controller.length_offsets:
        yield f"see that its length is in the controller's table under {tool.number}"
    elif touch := touch_words(zeros, length):
        yield f"{touch}, leave X and Y as they are"
    yield "raise it clear of everything"
