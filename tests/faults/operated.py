"""Damage to what the operator acts on, not to the path: each with the finding that must catch it.

Each takes a program's lines and its case, and gives the damaged lines, or None where the program
has nothing of the kind.
"""

import math
import re

from blankcam.replay.codes import Code
from tests.faults.planted import changed, clearance_of, cuts, has, indices, is_code, value

OPERATED = {}


def operated(code, setups=("face", "edge")):
    def keep(function):
        OPERATED[function.__name__] = (function, code, setups)
        return function

    return keep


def setting(letter, text):
    """Every line of code with another value of a word."""

    def damage(lines, made):
        out = [re.sub(rf"{letter}[\d.]+", f"{letter}{text}", s) if is_code(s) else s for s in lines]
        return out if out != lines else None

    return damage


def dropped(*words):
    def damage(lines, made):
        at = set(indices(lines, *words))
        return [s for i, s in enumerate(lines) if i not in at] if at else None

    return damage


OPERATED["every_start_at_s500"] = (setting("S", "500"), Code.CHIP, ("face", "edge"))
OPERATED["every_feed_at_f700"] = (setting("F", "700"), Code.CHIP, ("face", "edge"))
OPERATED["dwells_removed"] = (dropped("G4"), Code.SPIN_UP, ("face", "edge"))
OPERATED["no_work_offset"] = (dropped("G54"), Code.STATE, ("face", "edge"))


@operated(Code.STATE)
def a_preamble_of_units_alone(lines, made):
    at = indices(lines, "G21", "G17")
    if not at:
        return None
    bare = changed(lines, at[0], "G21")
    return [s for s in bare if s not in ("G49", "G54")]


@operated(Code.SURFACE_SPEED)
def the_spindle_as_fast_as_it_goes(lines, made):
    """Twice as fast, at twice the feed: the chip stays, the edge is too fast."""
    if not any(has(s, "S9500") for s in lines):
        return None
    return [re.sub(r"S9500\b", f"S{made.profile.spindle_max:.0f}", s) for s in lines]


def in_cut(lines):
    """Index of a cutting move that ends low in the blank: the first of the lowest fifth."""
    z, heights = None, {}
    for i, line in enumerate(lines):
        if is_code(line) and (to := value(line, "Z")) is not None:
            z = to
        if is_code(line) and cuts(line) and z is not None:
            heights[i] = z
    low = min(heights.values()) + (max(heights.values()) - min(heights.values())) / 5
    return next(i for i, h in heights.items() if h <= low)


def put_in_cut(*more):
    def damage(lines, made):
        i = in_cut(lines)
        speed = next(s for s in reversed(lines[:i]) if has(s, "M3"))
        return [*lines[: i + 1], *(m.replace("START", speed) for m in more), *lines[i + 1 :]]

    return damage


OPERATED["a_long_dwell_in_the_cut"] = (put_in_cut("G4 P30"), Code.IN_CUT, ("face", "edge"))
OPERATED["spindle_stopped_and_started_in_the_cut"] = (
    put_in_cut("M5", "START", "G4 P5"), Code.IN_CUT, ("face", "edge"))  # fmt: skip
OPERATED["a_stop_in_the_cut"] = (
    put_in_cut("M5", "M0", "START", "G4 P5"), Code.STOP_PLACE, ("face", "edge"))  # fmt: skip


def on_the_clearance_plane(lines, start):
    """Index of the first line from ``start`` on after which the tool is there, over a known place."""
    z, across = None, False
    for i, line in enumerate(lines):
        z = value(line, "Z") if has(line, "G0", "Z") else z
        across = across or has(line, "G0", "X")
        if i > start and across and z == clearance_of(lines):
            return i
    raise ValueError("nowhere")


@operated(Code.PLUNGE)
def a_slanted_plunge(lines, made):
    """8.5 degrees off the vertical, 1 mm into what stands there, at the feed of the moves."""
    on_edge = any("on edge" in s for s in lines[:60])
    box = made.stock if on_edge else made.stock.on_face()
    start = indices(lines, "M3")[0]
    z = on_the_clearance_plane(lines, start)
    # the fastest cutting feed: the first may be a plunge's own, at which nothing is wrong
    feed = max(value(s, "F") for s in lines[z:] if is_code(s) and value(s, "F"))
    x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
    top = float(made.part.top.height(x)) if on_edge else box.z1
    high = clearance_of(lines)
    down = high - top + 1.0
    was = {a: next(v for s in reversed(lines[: z + 1]) if is_code(s) and (v := value(s, a)) is not None)
           for a in "XY"}  # fmt: skip
    return [
        *lines[: z + 1],
        f"G0 X{x:.3f} Y{y:.3f}",
        f"G1 X{x + down * math.tan(math.radians(8.5)):.4f} Z{top - 1.0:.4f} F{feed:g}",
        f"G0 Z{high:.4f}",
        f"G0 X{was['X']:.4f} Y{was['Y']:.4f}",
        *lines[z + 1 :],
    ]


@operated(Code.CUT_FREE, setups=("face",))
def a_tab_cut_through(lines, made):
    """Up the waste's side of the left end, as deep as the deepest level, from the seat side."""
    box = made.stock.on_face()
    deepest = min(v for s in lines if is_code(s) and (v := value(s, "Z")) is not None)
    tool = made.tools[int(next(value(s, "T") for s in lines if has(s, "T")))]
    waste = -box.x0 - tool.diameter
    if deepest > box.z0 or waste * box.y1 < 1.5:
        return None
    end = len(lines) - 1 - next(i for i, s in enumerate(reversed(lines)) if has(s, "M5"))
    while not is_code(lines[end - 1]) or has(lines[end - 1], "G17"):
        end -= 1
    high = clearance_of(lines)
    return [
        *lines[:end],
        f"G0 X{-tool.diameter / 2:.4f} Y{box.y0 - tool.diameter - 1:.4f}",
        f"G0 Z{deepest:.4f}",
        f"G1 Y{3.0:.4f} F90",
        f"G0 Z{high:.4f}",
        *lines[end:],
    ]


@operated(Code.TAB, setups=("face",))
def tabs_half_as_high(lines, made):
    """The height to which the tool lifts over the tabs, halfway down to the deepest."""
    numbers = [v for s in lines if is_code(s) and (v := value(s, "Z")) is not None]
    box, deepest = made.stock.on_face(), min(numbers)
    over = [s for s in lines if is_code(s) and has(s, "G1", "Z") and not has(s, "Y")
            and (value(s, "Z") or 0) > box.z0]  # fmt: skip
    waste = -box.x0 - 3.0
    if deepest > box.z0 or not over or waste * box.y1 < 1.5:
        return None
    tab = max(value(s, "Z") for s in over)
    low = (tab + box.z0) / 2
    return [re.sub(rf"Z{tab:g}\b", f"Z{low:.4f}", s) if is_code(s) else s for s in lines]
