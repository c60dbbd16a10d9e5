"""What each key of a machine profile may hold."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, WithJsonSchema, create_model

from blankcam.data import table
from blankcam.inputs.fields import FileTable, Length, LengthOr, Matching, Quantity, Wanted, Whole
from blankcam.inputs.layers import WORKS
from blankcam.inputs.machine import MachineKind, ToolChange
from blankcam.inputs.tool import Shape
from blankcam.inputs.units import (
    ACCELERATION,
    ANGLE,
    FEED,
    FORCE,
    LENGTH,
    POWER,
    SHARE,
    SPEED,
    TIME,
    Dimension,
    Units,
)

MOST_TOOLS = 200
HOLDINGS = ("vice", "fixture", "carrier", "tape")
ON_FACE = ("carrier", "tape", "clamps", "fixture")
PLANES = ("G17", "G18", "G19")
RELEASES = ("R2000", "R2010", "R12")
PAPERS = ("A4", "Letter")
KINDS = tuple(kind.value for kind in MachineKind)
SHAPES = tuple(shape.value for shape in Shape)
CHANGES = tuple(change.value for change in ToolChange)


def Axes(key: str, dimension: Dimension = LENGTH, names: str = "xyz") -> Any:  # noqa: N802 - reads as a type
    """A table with one quantity an axis."""
    one: Any = (Quantity(key, dimension), ...)
    model: Any = create_model(key, __base__=FileTable, **dict.fromkeys(names, one))
    said = ", ".join(f'{a} = "{dimension.example}"' if a == "x" else f"{a} = .." for a in names)
    return Annotated[model, Wanted(f"write {{ {said} }}")]


def _each_a_plane(planes: list[str]) -> list[str]:
    if not set(planes) <= set(PLANES):
        raise ValueError(f"is not a list of {', '.join(PLANES)}")
    return planes


ShortText = Annotated[str, StringConstraints(max_length=200)]
LayerName = Matching(
    r"[A-Za-z0-9_-]{1,31}", "is not a layer's name", "use up to 31 letters, digits, - and _"
)
Day = Matching(
    r"20\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])",
    "is not a day",
    'write it as a text: "2026-03-21"',
)
Planes = Annotated[
    list[str],
    AfterValidator(_each_a_plane),
    WithJsonSchema({"type": "array", "items": {"enum": list(PLANES)}}),
    Wanted(f"write a list of {', '.join(PLANES)}"),
]


class ToolTable(FileTable):
    """One ``[[tools]]`` entry: a tool as it stands in its holder."""

    number: Whole(1, 255)  # type: ignore[valid-type]
    shape: Literal[SHAPES]  # type: ignore[valid-type]
    diameter: Length("tool.diameter")  # type: ignore[valid-type]
    flute_length: Length("tool.flute_length")  # type: ignore[valid-type]
    reach: Length("tool.reach") | None = None  # type: ignore[valid-type]
    shank: Length("tool.shank") | None = None  # type: ignore[valid-type]
    stick_out: Length("tool.stick_out")  # type: ignore[valid-type]
    flutes: Whole(1, 12) = 2  # type: ignore[valid-type]
    tip_diameter: Length("tool.tip_diameter") | None = None  # type: ignore[valid-type]
    angle: Quantity("tool.angle", ANGLE) | None = None  # type: ignore[valid-type]
    effective_diameter: Length("tool.diameter") | None = None  # type: ignore[valid-type]
    effective_within: Length("tool.within") | None = None  # type: ignore[valid-type]
    z_offset: Length("tool.z_offset") | None = None  # type: ignore[valid-type]
    z_within: Length("tool.within") | None = None  # type: ignore[valid-type]
    name: ShortText = ""


class ControllerTable(FileTable):
    """The ``[controller]`` table: what the machine's interpreter understands."""

    arc_planes: Planes | None = None
    tool_change: Literal[CHANGES] = ToolChange.FILE.value  # type: ignore[valid-type]
    stop_allows_zero: bool | None = None
    machine_coordinates: bool | None = None
    line_length: Whole(40, 252) | None = None  # type: ignore[valid-type]
    units: Literal["mm", "inch"] | None = None
    comments: Literal["brackets", "semicolon"] | None = None
    length_offsets: bool | None = None
    path_blending: bool | None = None
    coolant: Literal["none", "mist", "flood"] | None = None
    percent: bool | None = None
    line_numbers: bool | None = None


class HoldingTable(FileTable):
    """The ``[holding]`` table: how the machine's bench holds blanks."""

    kind: Literal[HOLDINGS] | None = None  # type: ignore[valid-type]
    jaw_top: LengthOr("auto", "bench.jaw_top") | None = None  # type: ignore[valid-type]
    jaw_length: Length("bench.jaw_length") | None = None  # type: ignore[valid-type]
    jaw_width: Length("bench.jaw_width") | None = None  # type: ignore[valid-type]
    bed_gap: Length("bench.bed_gap") | None = None  # type: ignore[valid-type]
    carrier_depth: Length("bench.carrier_depth") | None = None  # type: ignore[valid-type]
    face: Literal[ON_FACE] | None = None  # type: ignore[valid-type]
    face_top: Length("bench.face_top") | None = None  # type: ignore[valid-type]
    clamp_reach: Length("bench.clamp_reach") | None = None  # type: ignore[valid-type]
    clamp_width: Length("bench.clamp_width") | None = None  # type: ignore[valid-type]
    clamp_height: Length("bench.clamp_height") | None = None  # type: ignore[valid-type]


class SafeTable(FileTable):
    """The ``[safe]`` table: where the tool is clear of everything, in machine coordinates."""

    lowest: Axes("safe.lowest") | None = None  # type: ignore[valid-type]
    height: Length("safe.height") | None = None  # type: ignore[valid-type]
    park: Axes("safe.park", names="xy") | None = None  # type: ignore[valid-type]
    change: Axes("safe.change", names="xy") | None = None  # type: ignore[valid-type]
    aside: Length("safe.aside") | None = None  # type: ignore[valid-type]


class LayerTable(FileTable):
    """One ``[[drawing.layers]]`` entry: what is other than in data/layers.toml."""

    holds: Literal[tuple(row["holds"] for row in table("layers")["layers"])]  # type: ignore[valid-type]
    name: LayerName | None = None  # type: ignore[valid-type]
    line: Literal[tuple(table("layers")["lines"])] | None = None  # type: ignore[valid-type]
    width: float | None = Field(default=None, ge=0.05, le=2)
    colour: Whole(1, 255) | None = None  # type: ignore[valid-type]
    work: Literal[WORKS] | None = None  # type: ignore[valid-type]


class DrawingTable(FileTable):
    """The ``[drawing]`` table: how drawings are wanted."""

    release: Literal[RELEASES] | None = None  # type: ignore[valid-type]
    paper: Literal[PAPERS] | None = None  # type: ignore[valid-type]
    units: Units | None = None
    layers: list[LayerTable] | None = None


class ProbeTable(FileTable):
    """The ``[probe]`` table: a touch probe that the controller reads."""

    diameter: Length("profile.probe_diameter")  # type: ignore[valid-type]
    feed: Quantity("profile.probe_feed", FEED) | None = None  # type: ignore[valid-type]


class ProfileFile(FileTable):
    """A machine profile for blankcam: what the machine is, holds and cuts with."""

    name: ShortText | None = None
    kind: Literal[KINDS]  # type: ignore[valid-type]
    words: ShortText | None = None
    travel: Axes("profile.travel") | None = None  # type: ignore[valid-type]
    rapid: Axes("profile.rapid", FEED) | None = None  # type: ignore[valid-type]
    acceleration: Axes("profile.acceleration", ACCELERATION) | None = None  # type: ignore[valid-type]
    corner_deviation: Length("profile.corner_deviation") | None = None  # type: ignore[valid-type]
    feed_max: Axes("profile.feed_max", FEED) | None = None  # type: ignore[valid-type]
    spindle_min: Quantity("profile.spindle_min", SPEED) | None = None  # type: ignore[valid-type]
    spindle_max: Quantity("profile.spindle_max", SPEED) | None = None  # type: ignore[valid-type]
    power: Quantity("profile.power", POWER) | None = None  # type: ignore[valid-type]
    force: Quantity("profile.force", FORCE) | None = None  # type: ignore[valid-type]
    runout: Length("profile.runout") | None = None  # type: ignore[valid-type]
    measured: Day | None = None  # type: ignore[valid-type]
    backlash: Axes("profile.backlash") | None = None  # type: ignore[valid-type]
    backlash_within: Axes("profile.backlash") | None = None  # type: ignore[valid-type]
    scale: Axes("profile.scale", SHARE) | None = None  # type: ignore[valid-type]
    scale_within: Axes("profile.scale", SHARE) | None = None  # type: ignore[valid-type]
    clearance: Length("profile.clearance") | None = None  # type: ignore[valid-type]
    holder_diameter: Length("profile.holder_diameter") | None = None  # type: ignore[valid-type]
    holder_length: Length("profile.holder_length") | None = None  # type: ignore[valid-type]
    tool_change: Quantity("profile.tool_change", TIME) | None = None  # type: ignore[valid-type]
    spin_up: Quantity("profile.spin_up", TIME) | None = None  # type: ignore[valid-type]
    kerf: Length("profile.kerf") | None = None  # type: ignore[valid-type]
    stock: ShortText | None = None
    controller: ControllerTable = ControllerTable.model_construct()
    holding: HoldingTable = HoldingTable.model_construct()
    safe: SafeTable = SafeTable.model_construct()
    drawing: DrawingTable = DrawingTable.model_construct()
    probe: Annotated[ProbeTable | None, Wanted('write [probe] and diameter = "2 mm"')] = None
    tools: Annotated[list[ToolTable], Wanted("add a [[tools]] table for each tool you own")] = (
        Field(default=[], max_length=MOST_TOOLS)
    )
