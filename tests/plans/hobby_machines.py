"""Machines that people own: small mills and routers with ordinary sets of tools.

Sizes, speeds and tool sets are common practice, no source; none is a product. A tool is written
``shape diameter``; its flutes are three diameters long where nothing else is said.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

HALF, EIGHTH = 1.5875, 3.175


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A machine without its tools."""

    kind: str
    travel: tuple[float, float, float]
    rapid: float
    acceleration: float
    speeds: tuple[int, int]
    power: int
    force: int
    change: str
    planes: tuple[str, ...] = ("G17", "G18", "G19")


MILL = Frame(kind="mill", travel=(300, 160, 150), rapid=2500, acceleration=250,
             speeds=(500, 12000), power=250, force=60, change="automatic")  # fmt: skip
SLOW_MILL = Frame(kind="mill", travel=(220, 100, 180), rapid=800, acceleration=80,
                  speeds=(100, 5000), power=350, force=120, change="one file a tool")  # fmt: skip
ROUTER = Frame(kind="router", travel=(280, 180, 40), rapid=1000, acceleration=100,
               speeds=(3000, 10000), power=60, force=15, change="one file a tool",
               planes=("G17", "G18"))  # fmt: skip
FIXED_FAST = Frame(kind="router", travel=(300, 200, 60), rapid=3000, acceleration=200,
                   speeds=(24000, 24000), power=500, force=60, change="one file a tool")  # fmt: skip
FIXED_SLOW = Frame(kind="router", travel=(280, 180, 45), rapid=1500, acceleration=120,
                   speeds=(10000, 10000), power=80, force=20, change="one file a tool")  # fmt: skip
TRIM = Frame(kind="router", travel=(750, 400, 75), rapid=4000, acceleration=300,
             speeds=(10000, 30000), power=700, force=80, change="one file a tool")  # fmt: skip
TINY = Frame(kind="router", travel=(150, 90, 40), rapid=600, acceleration=60,
             speeds=(4000, 20000), power=50, force=10, change="one file a tool", planes=("G17",))  # fmt: skip

BALLS = ("ball 0.5", "ball 0.6", "ball 0.8", "ball 1", "ball 1.2", "ball 1.5", "ball 2")
SETS: dict[str, tuple[str, ...]] = {
    "one eighth flat": (f"flat {EIGHTH}",),
    "one sixteenth flat": (f"flat {HALF}",),
    "two flats": (f"flat {EIGHTH}", f"flat {HALF}"),
    "three flats": ("flat 3", "flat 2", "flat 1"),
    "flat and ball": (f"flat {EIGHTH}", f"ball {EIGHTH}"),
    "flat and small ball": ("flat 3", "ball 1"),
    "one small ball": ("ball 1",),
    "one ball of three": ("ball 3",),
    "six flat": ("flat 6",),
    "six flat and six ball": ("flat 6", "ball 6"),
    "four flat and two ball": ("flat 4", "ball 2"),
    "vee alone": (f"vee {EIGHTH}",),
    "vee and flat": (f"vee {EIGHTH}", f"flat {EIGHTH}"),
    "tapered ball": ("flat 3", "tapered 1"),
    "tapered ball alone": ("tapered 0.5",),
    "a set of balls": ("flat 3", "ball 3", *BALLS),
    "inch set": (f"flat {EIGHTH}", f"ball {EIGHTH}", f"ball {HALF}", "ball 0.79375"),
    "no outline tool": ("ball 3", *BALLS),
}

MACHINES: tuple[tuple[str, Frame, str], ...] = (
    *((f"mill, {name}", MILL, name) for name in SETS),
    ("slow mill, a set of balls", SLOW_MILL, "a set of balls"),
    ("slow mill, flat and ball", SLOW_MILL, "flat and ball"),
    ("router, a set of balls", ROUTER, "a set of balls"),
    ("router, one eighth flat", ROUTER, "one eighth flat"),
    ("router, flat and ball", ROUTER, "flat and ball"),
    ("router, inch set", ROUTER, "inch set"),
    ("router, tapered ball", ROUTER, "tapered ball"),
    ("fast spindle, flat and ball", FIXED_FAST, "flat and ball"),
    ("fast spindle, a set of balls", FIXED_FAST, "a set of balls"),
    ("fast spindle, two flats", FIXED_FAST, "two flats"),
    ("slow spindle, flat and small ball", FIXED_SLOW, "flat and small ball"),
    ("slow spindle, a set of balls", FIXED_SLOW, "a set of balls"),
    ("trim router, six flat and six ball", TRIM, "six flat and six ball"),
    ("trim router, inch set", TRIM, "inch set"),
    ("tiny router, three flats", TINY, "three flats"),
    ("tiny router, inch set", TINY, "inch set"),
)


def profile_text(name: str) -> str:
    """A machine's profile file."""
    frame, tools = next((f, SETS[s]) for n, f, s in MACHINES if n == name)
    x, y, z = frame.travel
    rapid, up = frame.rapid, frame.rapid * 0.6
    return "\n".join(
        [
            f'name = "{name}"\nkind = "{frame.kind}"\nwords = "a hobby machine"',
            f'travel = {{ x = "{x} mm", y = "{y} mm", z = "{z} mm" }}',
            f'rapid = {{ x = "{rapid} mm/min", y = "{rapid} mm/min", z = "{up:.0f} mm/min" }}',
            (
                f'acceleration = {{ x = "{frame.acceleration} mm/s2", y = "{frame.acceleration} mm/s2",'
                f' z = "{frame.acceleration * 0.6:.0f} mm/s2" }}'
            ),
            'corner_deviation = "0.01 mm"',
            (
                f'feed_max = {{ x = "{rapid * 0.8:.0f} mm/min", y = "{rapid * 0.8:.0f} mm/min",'
                f' z = "{rapid * 0.3:.0f} mm/min" }}'
            ),
            f'spindle_min = "{frame.speeds[0]} rpm"\nspindle_max = "{frame.speeds[1]} rpm"',
            f'power = "{frame.power} W"\nforce = "{frame.force} N"\nclearance = "5 mm"',
            'holder_diameter = "16 mm"\nholder_length = "25 mm"\ntool_change = "60 s"',
            'spin_up = "4 s"\n[controller]',
            f"arc_planes = {json.dumps(frame.planes)}",
            f"length_offsets = {json.dumps(frame.change == 'automatic')}",
            f'tool_change = "{frame.change}"\nline_length = 79\ncoolant = "none"',
            '[holding]\nkind = "vice"\njaw_length = "100 mm"\njaw_width = "25 mm"',
            'bed_gap = "10 mm"',
            *(_tool(i, t) for i, t in enumerate(tools, start=1)),
        ]
    )


def _tool(number: int, words: str) -> str:
    shape, size = words.split()
    diameter = float(size)
    length = min(3 * diameter, 18.0)
    own = ""
    if shape == "tapered":
        own = f'tip_diameter = "{diameter} mm"\nangle = "10 deg"\n'
        shape, length = "tapered ball", (EIGHTH - diameter) / 2 / math.tan(math.radians(5)) + 0.2
        diameter = EIGHTH
    if shape == "vee":
        own, length = 'tip_diameter = "0.1 mm"\nangle = "60 deg"\n', 3.0
    shank = next(s for s in (EIGHTH, 4.0, 6.0) if s >= diameter)
    reach = max(length, min(length + 2.0, 6.0))
    return (
        f'[[tools]]\nnumber = {number}\nshape = "{shape}"\n'
        f'diameter = "{diameter} mm"\n{own}flute_length = "{length:.2f} mm"\n'
        f'reach = "{reach:.2f} mm"\nshank = "{shank} mm"\n'
        f'stick_out = "{max(reach + 2, 12):.2f} mm"\nflutes = 2'
    )
