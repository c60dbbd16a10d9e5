"""Damage to what the operator acts on, not to the path: each with the finding that must catch it.

Each takes a program's lines and its case, and gives the damaged lines, or None where the program
has nothing of the kind.
"""

import math
import re

from blankcam.replay.codes import Code
from tests.faults.planted import (
    changed,
    clearance_of,
    cuts,
    has,
    indices,
    is_code,
    value,
    with_value,
)

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
OPERATED["every_feed_at_f1"] = (setting("F", "1"), Code.RUBS, ("face", "edge"))
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


@operated(Code.SPIN_UP)
def slow_until_the_dwell_is_over(lines, made):
    """The speed set only after the dwell of the start, on the way to the cut."""
    out, speed = [], 0
    for line in lines:
        start = has(line, "S", "M3")
        speed = value(line, "S") if start else speed
        out.append(f"S{made.profile.spindle_min:.0f} M3" if start else line)
        out += [f"S{speed:.0f}"] * has(line, "G4")
    return out


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


@operated(Code.STOP_PLACE)
def a_tool_change_in_the_cut(lines, made):
    """To the same tool, on a machine that fetches its tools."""
    i = in_cut(lines)
    fetched = next((s for s in reversed(lines[:i]) if has(s, "M6")), None)
    if fetched is None:
        return None
    offset = [s for s in lines[:i] if has(s, "G43")][-1:]
    speed = next(s for s in reversed(lines[:i]) if has(s, "M3"))
    return [*lines[: i + 1], "M5", fetched, *offset, speed, "G4 P5", *lines[i + 1 :]]


def on_the_clearance_plane(lines, start):
    """Index of the first line from ``start`` on after which the tool is there, over a
    known place.
    """
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

    def down(x, top, high, feed):
        aside = (high - top + 1.0) * math.tan(math.radians(8.5))
        return [f"G1 X{x + aside:.4f} Z{top - 1.0:.4f} F{feed:g}"]

    return with_a_way_down(lines, made, down)


@operated(Code.PLUNGE)
def a_steep_arc_at_full_feed(lines, made):
    """A quarter turn of 1.5 mm radius, straight down where it begins, 1 mm into what stands."""

    def down(x, top, high, feed):
        begin = f"G0 Z{top + 0.5:.4f}"
        arc = f"G2 X{x + 1.5:.4f} Z{top - 1.0:.4f} I1.5000 K0 F{feed:g}"
        return [begin, "G18", arc, "G17"]

    # lying on face no arc may stand upright: that is a fault of its own
    return with_a_way_down(lines, made, down) if is_on_edge(lines) else None


def is_on_edge(lines):
    return any("on edge" in s for s in lines[:60])


def with_a_way_down(lines, made, down):
    """A way down into the middle of what stands, and up and back, before anything is cut.

    ``down`` gives its lines from x, the top that stands there, the height above and the feed.
    """
    on_edge = is_on_edge(lines)
    box = made.stock if on_edge else made.stock.on_face()
    start = indices(lines, "M3")[0]
    z = on_the_clearance_plane(lines, start)
    # the fastest cutting feed: the first may be a plunge's own, at which nothing is wrong
    feed = max(value(s, "F") for s in lines[z:] if is_code(s) and value(s, "F"))
    x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
    top = float(made.part.top.height(x)) if on_edge else box.z1
    high = clearance_of(lines)
    was = {a: next(v for s in reversed(lines[: z + 1]) if is_code(s) and (v := value(s, a)) is not None)
           for a in "XY"}  # fmt: skip
    return [
        *lines[: z + 1],
        f"G0 X{x:.3f} Y{y:.3f}",
        *down(x, top, high, feed),
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
    end = last_code_before_the_stop(lines)
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
    return [with_value(s, "Z", low) if is_code(s) and value(s, "Z") == tab else s for s in lines]


@operated(Code.CUT_FREE, setups=("face",))
def waste_sawn_through_beside_both_clamps(lines, made):
    """Across the waste between each clamp and the part, as deep as the deepest level."""
    box, held = made.stock.on_face(), made.profile.holding
    if held.on_face != "clamps":
        return None
    deepest = min(v for s in lines if is_code(s) and (v := value(s, "Z")) is not None)
    tool = made.tools[int(next(value(s, "T") for s in lines if has(s, "T")))]
    high, out, top = clearance_of(lines), tool.diameter + 1, box.z1
    gaps = (box.x0 + held.clamp_reach, 0.0), (made.part.length, box.x1 - held.clamp_reach)
    saw = []
    for low, right in gaps:
        saw += [f"G0 X{(low + right) / 2:.4f} Y{box.y0 - out:.4f}"]
        for down in (0.25, 0.5, 0.75, 1.0):
            z = top + (deepest - top) * down
            saw += [f"G0 Z{z:.4f}", f"G1 Y{box.y1 + out:.4f} F90", f"G0 Z{high:.4f}",
                    f"G0 Y{box.y0 - out:.4f}"]  # fmt: skip
    end = last_code_before_the_stop(lines)
    return [*lines[:end], *saw, *lines[end:]]


def last_code_before_the_stop(lines):
    """Index after the last move in the program's own zero before the spindle's last stop."""
    end = len(lines) - 1 - next(i for i, s in enumerate(reversed(lines)) if has(s, "M5"))
    while not is_code(lines[end - 1]) or has(lines[end - 1], "G17"):
        end -= 1
    return end
