"""Machine profiles from TOML: every fault at once, each with its key path and line.

Every number with a dimension is written with its unit (``blankcam.inputs.quantity``); counts,
numbers of tools and switches are plain.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from blankcam.faults import Fault, InputError
from blankcam.inputs import border as toml_lines
from blankcam.inputs import layers, quantity
from blankcam.inputs.job_file import parse_toml
from blankcam.inputs.machine import Axis, Controller, Drawn, Holding, Kind, Profile, ToolChange
from blankcam.inputs.tool import Shape, Tool

LARGEST_FILE = 200_000
MOST_TOOLS = 200
HOLDINGS = ("vice", "fixture", "carrier", "tape")
CONE_SLACK = 0.98
"""A cone's angle and length are printed rounded."""
ON_FACE = ("carrier", "tape", "clamps", "fixture")
PLANES = ("G17", "G18", "G19")
RELEASES = ("R2000", "R2010", "R12")
PAPERS = ("A4", "Letter")


def shipped() -> dict[str, Path]:
    """The profiles that come with blankcam, by name: in the wheel, or in a source checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "machines", package.parent / "machines"):
        if folder.is_dir():
            return {p.stem: p for p in sorted(folder.glob("*.toml"))}
    return {}


def read_profile(name: str) -> Profile:
    """A profile by the name of a shipped one, or by a path to a file of the maker's own.

    Raises
    ------
    InputError
        With every fault found.
    """
    known = shipped()
    path = known.get(name)
    if path is None:
        path = Path(name)
        if path.suffix != ".toml":
            raise InputError(_unknown(name, known))
    try:
        if path.exists() and not path.is_file():  # a pipe or a device may have no end
            raise InputError(Fault(where=name, wrong="is not a file", fix=_hint(known)))
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise InputError(Fault(where=name, wrong=f"is over {LARGEST_FILE} bytes long"))
        text = raw.decode()
    except OSError as error:
        wrong = f"can't be read: {error.strerror or error}"
        raise InputError(Fault(where=name, wrong=wrong, fix=_hint(known))) from None
    except ValueError:
        raise InputError(Fault(where=name, wrong="is not UTF-8 text")) from None
    return parse_profile(text, where=str(path))


def parse_profile(text: str, where: str) -> Profile:
    """A profile from its text; ``where`` names it in faults. Raises InputError."""
    data = parse_toml(text, where)
    faults: list[Fault] = []
    table = _Table(data, (), where, toml_lines.key_lines(text), faults)
    profile = _profile(table, where)
    if faults or profile is None:
        raise InputError(faults)
    return profile


def _unknown(name: str, known: Iterable[str]) -> Fault:
    near = difflib.get_close_matches(name, list(known), 1)
    fix = f"did you mean {near[0]}?" if near else _hint(known)
    return Fault(where="--machine", found=name, wrong="is no machine profile", fix=fix)


def _hint(known: Iterable[str]) -> str:
    return f"shipped are {', '.join(known)}; a file of your own ends in .toml"


@dataclass(slots=True)
class _Table:
    """One table being read: typed getters that note faults and go on with a stand-in."""

    data: dict[str, Any]
    path: toml_lines.Path
    where: str
    lines: dict[toml_lines.Path, int]
    faults: list[Fault]
    seen: set[str] = field(default_factory=set)

    def fault(self, key: str, wrong: str, fix: str = "", found: object = None) -> None:
        path = (*self.path, key) if key else self.path
        self.faults.append(
            Fault(
                where=self.where,
                key=toml_lines.spelled(path),
                line=toml_lines.line_of(self.lines, path),
                found=found,
                wrong=wrong,
                fix=fix,
            )
        )

    def raw(self, key: str) -> Any:
        self.seen.add(key)
        return self.data.get(key)

    def text(self, key: str, default: str | None = None) -> str:
        value = self.raw(key)
        if value is None:
            if default is None:
                self.fault(key, "is missing")
            return default or ""
        if not isinstance(value, str) or len(value) > 200:
            self.fault(key, "is not a short text", found=value)
            return ""
        return value

    def choice(self, key: str, allowed: Iterable[str], default: str | None = None) -> str:
        value, choices = self.text(key, default), tuple(allowed)
        if value in choices:
            return value
        if value:
            near = difflib.get_close_matches(value, choices, 1)
            fix = f"did you mean {near[0]!r}?" if near else f"use one of {', '.join(choices)}"
            self.fault(key, "is not known", fix, value)
        return choices[0]

    def quantity(
        self, key: str, what: str, low: float, high: float, default: float | None = None
    ) -> float:
        value = self.raw(key)
        example = f'write it like "{quantity.EXAMPLES[what]}"'
        if value is None:
            if default is None:
                self.fault(key, "is missing", example)
            return low if default is None else default
        if not isinstance(value, str):
            self.fault(key, "has no unit", example, value)
            return low
        try:
            number = quantity.parse(value, what)
        except ValueError as error:
            self.fault(key, str(error), found=value)
            return low
        if not low <= number <= high:
            unit = quantity.EXAMPLES[what].split(" ")[1]
            self.fault(key, f"is not between {low:g} and {high:g} {unit}", found=value)
            return low
        return number

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        value = self.raw(key)
        if value is None and default is not None:
            return default
        if value is None:
            self.fault(key, "is missing")
        elif isinstance(value, bool) or not isinstance(value, int):
            self.fault(key, "is not a whole number", found=value)
        elif not low <= value <= high:
            self.fault(key, f"is not between {low} and {high}", found=value)
        else:
            return value
        return low

    def switch(self, key: str) -> bool:
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            self.fault(key, "is neither true nor false", found=value)
        return value is True

    def table(self, key: str) -> _Table:
        value = self.raw(key)
        if value is not None and not isinstance(value, dict):
            self.fault(key, "is not a table", found=value)
        return self.below(value if isinstance(value, dict) else {}, key)

    def below(self, data: dict[str, Any], *steps: str | int) -> _Table:
        return _Table(data, (*self.path, *steps), self.where, self.lines, self.faults)

    def done(self) -> None:
        """Any key nobody asked for is a slip of the pen."""
        for key in self.data:
            if key not in self.seen:
                near = difflib.get_close_matches(key, self.seen, 1)
                self.fault(key, "is not a key here", f"did you mean {near[0]}?" if near else "")


def _profile(table: _Table, where: str) -> Profile | None:
    kind = Kind(table.choice("kind", [k.value for k in Kind]))
    cuts = kind in (Kind.MILL, Kind.ROUTER)
    d = Profile(name="", kind=kind)
    need = None if cuts else 0.0
    tools = _tools(table, needed=cuts)
    profile = Profile(
        name=table.text("name", Path(where).stem),
        kind=kind,
        words=table.text("words", ""),
        travel=_axes(table, "travel", "length", 10, 3000, d.travel if not cuts else None),
        rapid=_axes(table, "rapid", "feed", 10, 60000, d.rapid),
        acceleration=_axes(table, "acceleration", "acceleration", 1, 20000, d.acceleration),
        corner_deviation=table.quantity("corner_deviation", "length", 0.0005, 1, 0.01),
        feed_max=_axes(table, "feed_max", "feed", 5, 60000, d.feed_max if not cuts else None),
        spindle_min=table.quantity("spindle_min", "speed", 0, 100000, 0.0),
        spindle_max=table.quantity("spindle_max", "speed", 100, 200000, need),
        power=table.quantity("power", "power", 1, 20000, d.power),
        force=table.quantity("force", "force", 0.5, 5000, d.force),
        runout=table.quantity("runout", "length", 0, 1) if table.raw("runout") else None,
        clearance=table.quantity("clearance", "length", 1, 100, d.clearance),
        holder_diameter=table.quantity("holder_diameter", "length", 3, 200, d.holder_diameter),
        holder_length=table.quantity("holder_length", "length", 1, 500, d.holder_length),
        tool_change_seconds=table.quantity("tool_change", "time", 0, 3600, d.tool_change_seconds),
        spin_up=table.quantity("spin_up", "time", 0, 120, d.spin_up),
        controller=_controller(table.table("controller")),
        holding=_holding(table.table("holding")),
        tools=tools,
        drawing=_drawn(table.table("drawing")),
        kerf=table.quantity("kerf", "length", 0, 2, None if kind is Kind.LASER else 0.0),
        path=where,
    )
    if profile.spindle_min > profile.spindle_max:
        table.fault("spindle_min", "is over spindle_max", found=f"{profile.spindle_min:g} rpm")
    table.done()
    return None if table.faults else profile


def _axes(  # a getter like those of _Table
    table: _Table, key: str, what: str, low: float, high: float, default: Axis | None
) -> Axis:
    if default is not None and key not in table.data:
        table.seen.add(key)
        return default
    if key not in table.data:
        table.fault(
            key, "is missing", f'write {{ x = "{quantity.EXAMPLES[what]}", y = .., z = .. }}'
        )
        return Axis(x=low, y=low, z=low)
    inner = table.table(key)
    x, y, z = (inner.quantity(a, what, low, high) for a in "xyz")
    inner.done()
    return Axis(x=x, y=y, z=z)


def _drawn(table: _Table) -> Drawn:
    rows = table.raw("layers")
    rules = None
    if isinstance(rows, list) and all(isinstance(r, dict) for r in rows):
        try:
            rules = layers.changed(tuple(rows))
        except (ValueError, TypeError) as fault:
            table.fault("layers", str(fault))
    elif rows is not None:
        table.fault("layers", "is not a list of tables")
    drawn = Drawn(
        release=table.choice("release", RELEASES, "R2000"),
        paper=table.choice("paper", PAPERS, "A4"),
        layers=rules,
    )
    table.done()
    return drawn


def _controller(table: _Table) -> Controller:
    d = Controller()
    planes = table.raw("arc_planes")
    if planes is None:
        planes = sorted(d.arc_planes)
    if not isinstance(planes, list) or not all(p in PLANES for p in planes):
        table.fault("arc_planes", "is not a list of G17, G18, G19", found=planes)
        planes = []
    controller = Controller(
        arc_planes=frozenset(planes),
        tool_change=ToolChange(
            table.choice("tool_change", [t.value for t in ToolChange], ToolChange.STOP.value)
        ),
        line_length=table.whole("line_length", 40, 252, d.line_length),
        units=table.choice("units", ["mm", "inch"], d.units),
        comments=table.choice("comments", ["brackets", "semicolon"], d.comments),
        length_offsets=table.switch("length_offsets"),
        path_blending=table.switch("path_blending"),
        coolant=table.choice("coolant", ["none", "mist", "flood"], d.coolant),
        percent=table.switch("percent"),
        line_numbers=table.switch("line_numbers"),
    )
    if controller.length_offsets and controller.tool_change is ToolChange.STOP:
        wrong = "is of no use where the maker sets zero again at each tool change"
        table.fault("length_offsets", wrong, 'set tool_change = "automatic" or leave it out')
    table.done()
    return controller


def _holding(table: _Table) -> Holding:
    d = Holding()
    holding = Holding(
        kind=table.choice("kind", HOLDINGS, d.kind),
        jaw_top=table.quantity("jaw_top", "length", 0, 50, d.jaw_top),
        jaw_length=table.quantity("jaw_length", "length", 5, 500, d.jaw_length),
        jaw_width=table.quantity("jaw_width", "length", 1, 200, d.jaw_width),
        bed_gap=table.quantity("bed_gap", "length", 0, 200, d.bed_gap),
        carrier_depth=table.quantity("carrier_depth", "length", 0, 10, d.carrier_depth),
        face=table.choice("face", ON_FACE, d.face),
        face_top=table.quantity("face_top", "length", 0, 50, d.face_top),
        clamp_reach=table.quantity("clamp_reach", "length", 0.5, 100, d.clamp_reach),
        clamp_width=table.quantity("clamp_width", "length", 1, 200, d.clamp_width),
        clamp_height=table.quantity("clamp_height", "length", 0.5, 100, d.clamp_height),
    )
    table.done()
    return holding


def _tools(table: _Table, *, needed: bool) -> tuple[Tool, ...]:
    entries = table.raw("tools")
    if entries is None:
        entries = []
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        table.fault("tools", "is not a list of [[tools]] tables", found=entries)
        return ()
    if needed and not entries:
        table.fault("tools", "has no tool", "add a [[tools]] table for each tool you own")
    if len(entries) > MOST_TOOLS:
        table.fault("tools", f"has more than {MOST_TOOLS} tools")
        return ()
    tools = []
    first_with: dict[int, int] = {}
    for i, entry in enumerate(entries):
        inner = table.below(entry, "tools", i)
        tool = _tool(inner)
        tools.append(tool)
        if first_with.setdefault(tool.number, i) != i:
            wrong = f"is also the number of tools[{first_with[tool.number]}]"
            inner.fault("number", wrong, "give each tool its own", tool.number)
    return tuple(tools)


def _tool(table: _Table) -> Tool:
    shape = Shape(table.choice("shape", [s.value for s in Shape]))
    pointed = shape in (Shape.TAPERED_BALL, Shape.VEE)
    diameter = table.quantity("diameter", "length", 0.05, 50)
    flute = table.quantity("flute_length", "length", 0.05, 200)
    tool = Tool(
        number=table.whole("number", 1, 255),
        shape=shape,
        diameter=diameter,
        flute_length=flute,
        reach=table.quantity("reach", "length", 0.05, 200, flute),
        shank=table.quantity("shank", "length", 0.05, 50, diameter),
        stick_out=table.quantity("stick_out", "length", 0.1, 300),
        flutes=table.whole("flutes", 1, 12, 2),
        tip_diameter=table.quantity(
            "tip_diameter", "length", 0, 50, None if shape is Shape.TAPERED_BALL else 0.0
        ),
        angle=table.quantity("angle", "angle", 1, 170, None if pointed else 0.0),
        name=table.text("name", ""),
    )
    _judge_tool(table, tool)
    table.done()
    return tool


def _judge_tool(table: _Table, tool: Tool) -> None:
    """Sizes that contradict one another."""
    if tool.reach < tool.flute_length:
        table.fault("reach", f"is shorter than flute_length {tool.flute_length:g} mm")
    if tool.stick_out < tool.reach and tool.shank != tool.diameter:
        table.fault("stick_out", f"is shorter than reach {tool.reach:g} mm")
    if tool.stick_out < tool.flute_length:
        table.fault("stick_out", f"is shorter than flute_length {tool.flute_length:g} mm")
    if tool.tip_diameter > tool.diameter:
        table.fault("tip_diameter", f"is wider than diameter {tool.diameter:g} mm")
    if tool.shape not in (Shape.TAPERED_BALL, Shape.VEE):
        for key in ("angle", "tip_diameter"):
            if key in table.data:
                table.fault(key, f"means nothing on a {tool.shape} tool", "leave it out")
    elif tool.radius_at(tool.flute_length) < CONE_SLACK * tool.radius:
        wide = 2 * tool.radius_at(tool.flute_length)
        fix = "give the diameter the flutes reach, or their full length"
        table.fault("diameter", f"is wider than the cone where its flutes end, {wide:.2f} mm", fix)
