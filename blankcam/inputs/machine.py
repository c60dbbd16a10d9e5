"""What a machine is and can do, as plain values; ``machine_file.py`` makes them from a profile
file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal

from blankcam.data import table
from blankcam.inputs.layers import LayerRule
from blankcam.inputs.tool import Tool
from blankcam.inputs.units import Units


class MachineKind(StrEnum):
    """What stands on the bench."""

    MILL = "mill"
    ROUTER = "router"
    LASER = "laser"
    HAND = "hand"


class ToolChange(StrEnum):
    """How the machine comes by its next tool."""

    STOP = "stop"  # the program stops with M0, the maker changes it and sets zero again
    AUTOMATIC = "automatic"  # T and M6
    FILE = "one file a tool"  # between two files a streaming controller takes jogs and zeros


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """What the machine's interpreter understands beyond, or short of, the common subset."""

    arc_planes: frozenset[str] = frozenset({"G17", "G18"})
    """Planes in which G2 and G3 may be used; empty for a controller without arcs."""
    tool_change: ToolChange = ToolChange.FILE
    stop_allows_zero: bool = False
    """Whether the controller takes a jog and a new zero while a program stands at M0."""
    machine_coordinates: bool = False
    """Whether it finds its home by itself and moves in machine coordinates: G53."""
    line_length: int = 79
    """Characters a line may have, comments and all."""
    units: str = "mm"
    """``mm`` (four decimals) or ``inch`` (five)."""
    comments: str = "brackets"
    """``brackets`` for ( ), ``semicolon`` for ;."""
    length_offsets: bool = False
    """G43 H after a tool change."""
    path_blending: bool = False
    """G64 P (an extension to RS274/NGC)."""
    coolant: str = "none"
    """``none``, ``mist`` (M7) or ``flood`` (M8)."""
    percent: bool = False
    """``%`` first and last."""
    line_numbers: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """How a blank is held. On edge: jaws stand on both faces up to ``jaw_top``.

    On face it lies on a waste board, glued to it (``carrier``) or by tape alone, or under a clamp
    at each end, or between the walls of a fixture along its seat side and its top.
    """

    kind: str = "vice"
    """``vice`` (soft jaws), ``fixture``, ``carrier`` (waste board with tabs), ``tape``."""
    jaw_top: float | Literal["auto"] = "auto"
    """On edge: height of the jaws over the seat side of the blank (z of the part); ``auto``: as
    high as the cuts allow, worked out for each part."""
    jaw_length: float = 100.0
    """Along x, centred on the blank."""
    jaw_width: float = 20.0
    """How far each jaw reaches away from the blank, along y."""
    bed_gap: float = 10.0
    """On edge: free depth below the blank's seat side; on face: waste board under the blank is
    cut into no deeper than ``carrier_depth``."""
    carrier_depth: float = 0.5
    face: str = "carrier"
    """On face: ``carrier``, ``tape``, ``clamps`` or ``fixture``."""
    face_top: float = 3.0
    """On face: height of the fixture's walls over what the blank lies on."""
    clamp_reach: float = 5.0
    """On face: how far a clamp reaches over the blank from each end, along x."""
    clamp_width: float = 20.0
    """Along the machine's Y, centred on the blank."""
    clamp_height: float = 8.0
    """Of all of a clamp over the blank's upper face."""

    @property
    def jaws(self) -> float:
        """Height of the jaws over the seat side, mm, where it is given or has been worked out.

        Raises ValueError where it has not.
        """
        return float(self.jaw_top)

    @property
    def grip(self) -> str:
        """What stands against both faces of a blank on edge: ``jaws`` or a fixture's ``walls``."""
        return "walls" if self.kind == "fixture" else "jaws"

    @property
    def on_face(self) -> str:
        """How a blank is held lying down; a bench with nothing but tape has that there too."""
        return "tape" if self.kind == "tape" else self.face


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A touch probe that the controller reads."""

    diameter: float
    """Of its ball, mm."""
    feed: float = table("cutting")["probe"]["feed"]
    """mm/min that it touches at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """How drawings are wanted."""

    release: str = "R2000"
    """Of the DXF: ``R2000``, ``R2010`` or ``R12``."""
    paper: str = "A4"
    """Of the sheet: ``A4`` or ``Letter``."""
    units: Units = "both"
    """Of the tables on the sheet and in the lists."""
    layers: tuple[LayerRule, ...] | None = None
    """Names, order and work of the layers; None: as data/layers.toml says for the kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One value an axis."""

    x: float
    y: float
    z: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisError:
    """How an axis really moves, as far as it is known.

    ``within``: how far a value may be off: 95 of 100 lie nearer.
    """

    backlash: float = 0.0
    """mm that it must be told beyond its place after it has turned, in whole steps of what programs
    print: a way there and the way back are then printed alike."""
    backlash_within: float = 0.0
    scale: float = 0.0
    """Share by which it goes further than it is told; less where negative."""
    scale_within: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisErrors:
    """How the axes really move."""

    x: AxisError = AxisError()
    y: AxisError = AxisError()
    z: AxisError = AxisError()

    @property
    def each(self) -> tuple[AxisError, AxisError, AxisError]:
        """X, Y and Z."""
        return self.x, self.y, self.z


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPosition:
    """A place in plan, mm."""

    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Safe:
    """Where the tool is clear of everything, as a profile says it; None: worked out.

    Machine coordinates of the spindle, but ``aside``.
    """

    lowest: Axis | None = None
    """The low end of each axis."""
    height: float | None = None
    """Z at which the spindle passes over everything with any tool."""
    park: PlanPosition | None = None
    """Where it stands at the end of a program."""
    change: PlanPosition | None = None
    """Where tools are changed."""
    aside: float | None = None
    """How far behind the blank it stands at the end where there are no machine coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SafePlaces:
    """The same with everything worked out that can be; machine coordinates of the spindle."""

    low: Axis
    high: Axis
    height: float
    park: PlanPosition
    change: PlanPosition | None
    aside: float


UNDER_TOP = 2.0
"""mm that the safe height lies under the upper end of Z, where a profile does not give it."""
FROM_END = 2.0
"""mm that the place to park lies from the back end of Y, where a profile does not give it."""
ASIDE = 10.0
"""mm between blank and holder at the end, where a profile does not give it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A machine; millimetres, seconds, minutes only in feeds (mm/min), rpm, newtons, watts."""

    name: str
    kind: MachineKind
    words: str = ""
    """One line for the list of machines."""
    travel: Axis = Axis(x=200.0, y=100.0, z=60.0)
    """How far each axis can go in all."""
    rapid: Axis = Axis(x=1000.0, y=1000.0, z=500.0)
    """mm/min."""
    acceleration: Axis = Axis(x=100.0, y=100.0, z=100.0)
    """mm/s²."""
    corner_deviation: float = 0.01
    """mm; machining.md #19."""
    feed_max: Axis = Axis(x=800.0, y=800.0, z=300.0)
    """mm/min."""
    spindle_min: float = 0.0
    spindle_max: float = 10000.0
    """rpm."""
    power: float = 100.0
    """W at the cut."""
    force: float = 30.0
    """N the frame and holding may see from a cut."""
    runout: float | None = None
    """Measured total runout in mm, None where nobody measured it."""
    errors: AxisErrors = AxisErrors()
    """How its axes really move."""
    measured: str = ""
    """The day on which it was measured, such as ``2026-11-27``; empty where it was not."""
    clearance: float = 5.0
    """Clearance plane over the highest thing."""
    holder_diameter: float = 16.0
    holder_length: float = 30.0
    tool_change_seconds: float = 15.0
    spin_up: float = 3.0
    """Seconds the spindle needs to come up to speed; programs wait for it."""
    controller: Controller = Controller()
    holding: Holding = Holding()
    safe: Safe = Safe()
    tools: tuple[Tool, ...] = ()
    drawing: Drawn = Drawn()
    probe: Probe | None = None
    kerf: float = 0.0
    """Laser: width of the cut."""
    stock: str = ""
    """Laser: what lies under the beam; empty where the profile does not say."""
    path: str = ""
    """The file it came from."""

    def tool(self, number: int) -> Tool | None:
        """The tool of that number, or None."""
        return next((t for t in self.tools if t.number == number), None)

    @property
    def moves_true(self) -> bool:
        """Whether nothing is known of its axes but that they go where they are told."""
        return self.errors == AxisErrors()

    @property
    def known(self) -> bool:
        """Whether anything is known of how it really cuts."""
        return bool(self.measured or self.runout or not self.moves_true) or any(
            t.nominal is not None or t.z_offset or t.z_within for t in self.tools
        )

    def as_sold(self) -> Profile:
        """The machine without anything that is known of how it really cuts."""
        return replace(
            self,
            errors=AxisErrors(),
            measured="",
            tools=tuple(t.as_sold() for t in self.tools),
        )

    @property
    def safe_places(self) -> SafePlaces:
        """Where the tool is clear; what the profile leaves out follows from its travel.

        Z is 0 at its upper end then, X and Y at their low ends, as machines that find their home at
        the top mostly count (common practice, no source); it parks in the middle at the back.
        """
        said, travel = self.safe, self.travel
        low = said.lowest or Axis(x=0.0, y=0.0, z=-travel.z)
        high = Axis(x=low.x + travel.x, y=low.y + travel.y, z=low.z + travel.z)
        return SafePlaces(
            low=low,
            high=high,
            height=high.z - UNDER_TOP if said.height is None else said.height,
            park=said.park or PlanPosition(x=(low.x + high.x) / 2, y=high.y - FROM_END),
            change=said.change,
            aside=self.holder_diameter / 2 + ASIDE if said.aside is None else said.aside,
        )

    @property
    def cuts_programs(self) -> bool:
        """Whether G-code is of use to it."""
        return self.kind in (MachineKind.MILL, MachineKind.ROUTER)
