"""What the preview page shows, as plain values; ``scene`` makes them from a job worked out.

Millimetres, degrees, newtons, seconds, micrometres for deviations. Arrays are over y (rows) and
x (columns), as everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.inputs.units import Units
from blankcam.outputs.drawing import Drawing, Path
from blankcam.outputs.drawings.setup_card import Card
from blankcam.outputs.drawings.slot_section import SlotSection, Standing
from blankcam.outputs.rows import Section

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Heights z (ny, nx) over evenly spaced cell centres; NaN where there is nothing.

    ``box`` is the plan the cells cover: x_min, x_max, y_min, y_max.
    """

    x: Floats
    y: Floats
    z: Floats
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Evenly spaced cell centres x (nx,) and y (ny,), and the plan they cover, as in Heights."""

    x: Floats
    y: Floats
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class StageView:
    """A part as it stands after one stage."""

    stage: str
    """``rough`` or ``final``."""
    replayed: bool
    """Whether these are the replay's heights; else the shape asked for."""
    heights: Heights
    remark: str = ""
    """What a maker should know of this stage, such as slots left to the file."""
    deviation: Floats | None = None
    """(ny, nx) µm against what the stage wants: above it positive; NaN where there is nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One number about a slot or a crossing, said in the trade's words."""

    words: str
    value: float
    unit: str = "mm"
    """``mm`` is switched to inches by the page; anything else is shown as it is."""
    digits: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place one can point at: a nut slot, a string's crossing on the saddle."""

    string: int
    note: str
    x: float
    half_width: float
    facts: tuple[Fact, ...]
    remark: str = ""
    by: str = ""
    """The tool that makes it, or the file, as short as can be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StringLine:
    """A string as it lies on a part: its middle line (n, 3), and its gauge."""

    string: int
    note: str
    gauge: float
    make: str
    """``plain steel``, ``wound`` or ``nylon``: how it looks."""
    filed: bool
    """Whether its slot is left to the file, so that it is not in place on the rough part."""
    points: Floats
    raised: float = 0.0
    """How much higher it lies on the rough part."""
    now: float | None = None
    """How much higher it lies now, where there is a refit to show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loft:
    """A surface between two lines of as many points, and what it is of; mm in the part's frame."""

    kind: str
    """``board``, ``neck``, ``fret`` or ``bridge``."""
    near: tuple[tuple[float, float, float], ...]
    far: tuple[tuple[float, float, float], ...]
    low: float | None
    """How far its sides go down; None: it has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """Words that stand in the picture."""

    words: str
    at: tuple[float, float, float]
    seat: bool | None = None
    """Whether only with the part in its seat, or only alone; None: always."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatDrawing:
    """A part in the instrument, drawn for each width of the page."""

    kind: str
    """``nut`` or ``saddle`` along a string, or ``plan``."""
    string: int | None
    name: str
    """What it shows, for those who can't see it."""
    layouts: Mapping[str, Drawing]
    """``wide`` and ``narrow``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """What to do first; numbers among the words are lengths in mm."""

    head: tuple[str | float, ...]
    words: tuple[str | float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """One part."""

    name: str
    stock: float
    """Height of its blank over the seat."""
    refit: bool
    """Whether there is a refit to show: its stages ``refit``, as it stands, and ``asked``."""
    around: tuple[Loft, ...]
    tags: tuple[Tag, ...]
    length: float
    thickness: float
    height: float
    spots: tuple[Spot, ...]
    strings: tuple[StringLine, ...]
    stages: tuple[StageView, ...]
    standings: tuple[tuple[str, str], ...]
    """What is said of each step from the blank to the finished part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolView:
    """A tool as it is drawn and swept: the forms of the machine profiles."""

    number: int
    shape: str
    diameter: float
    tip_diameter: float
    angle: float
    flute_length: float
    stick_out: float
    shank: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PathView:
    """A tool's way as chords: n points, each reached from the one before."""

    points: Floats
    """(n, 3) machine axes, mm. The first point is where the tool is first known to be."""
    line: Ints
    """(n,) line of the program that asks for the point."""
    rapid: NDArray[np.bool_]
    """(n,) whether the point is reached by positioning."""
    tool: Ints
    """(n,) number of the tool."""
    seconds: Floats
    """(n,) estimated time at which it is reached."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldingBody:
    """A thing that stands beside the blank, in the machine's axes."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One operation of a program: where its text begins, and what it does."""

    line: int
    """Of the program's text, from 1."""
    name: str
    words: str
    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramView:
    """One program and what it does."""

    file: str
    part: str
    setup: str
    """``edge`` or ``face``."""
    stage: str
    text: tuple[str, ...]
    tools: tuple[ToolView, ...]
    path: PathView
    stock_top: float
    stock_bottom: float
    cells: Cells
    """Where the page reckons the stock, in the machine's axes."""
    chapters: tuple[Chapter, ...] = ()
    """Its operations, in the order they are run."""
    held_by: tuple[HoldingBody, ...] = ()
    """Jaws, clamps or walls, as the proof checked them; the waste board under it."""
    held: str = ""
    """The same in words."""
    start: Heights | None = None
    """What stands before it where that is not the whole blank."""
    after: int | None = None
    """The program (its place in the page's list) that was run before on the same stock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Elevation:
    """What the drawing of a part shows, besides its spots; mm, seen from the bridge."""

    part: str
    length: float
    height: float
    rough_height: float
    drawing: Drawing
    """Its outlines, finished and rough."""
    slots: tuple[Path, ...]
    """Each finished slot at the front edge; none of a saddle."""
    ordinates: tuple[tuple[str, float], ...]
    """Number and note of each string, and its place from the left end."""
    heights: tuple[tuple[float, float], ...]
    """Places and the heights that are written over them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideString:
    """One string in the side view."""

    string: int
    note: str
    line: Floats
    """(n, 2) place along and height of the underside over the wood's line without relief."""
    frets: Floats
    """(k, 4): fret, place along, height of its crown on the same scale, clearance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideView:
    """The string path from the side; heights over the wood's line without relief."""

    crown: float
    relief: float
    board_end: float
    wood: Floats
    """(n, 2) place along and height of the wood, relief included."""
    strings: tuple[SideString, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Lines over the frets, one a string."""

    key: str
    caption: str
    axis: str
    unit: str
    digits: int
    names: tuple[str, ...]
    frets: tuple[int, ...]
    values: Floats
    """(strings, frets)."""
    zero: bool = False
    """Whether a line is drawn at zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageData:
    """The whole page."""

    title: str
    subtitle: str
    good: bool
    waiting: bool
    """Whether the programs are still being proven."""
    refused: tuple[str, ...]
    """Why nothing may be made so, a line each."""
    units: Units
    """What its lengths are written in at first: inches where ``in``, else millimetres."""
    blanks: Mapping[str, tuple[float, float]]
    """Length and height of each part's blank, mm."""
    watch: str
    """What the page is known by while its job is watched; empty: it is not."""
    verdict: str
    """Its head, a colon, and what was found."""
    next_step: NextStep
    sections: tuple[SlotSection, ...]
    """Each slot of the nut, cut along and across."""
    seats: tuple[SeatDrawing, ...]
    """Nut and saddle in the instrument."""
    cautions: tuple[str, ...]
    notice: tuple[str, ...]
    parts: tuple[PartView, ...]
    programs: tuple[ProgramView, ...]
    setups: tuple[Card, ...]
    """Of the programs, in the order in which they are run."""
    elevations: tuple[Elevation, ...]
    side: SideView
    plots: tuple[Plot, ...]
    tables: tuple[Section, ...]
    limits_um: tuple[float, float]
    """How far below and above the part the proof lets it be; what goes beyond is hatched."""

    @property
    def standings(self) -> tuple[Standing, ...]:
        """The steps that the slots are drawn at; the rough one waits for who cuts them."""
        if self.waiting:
            return (Standing.FINISHED,)
        steps = self.sections[0].standings
        return (Standing.ROUGH, *(s for s in steps if s is not Standing.ROUGH))
