"""Machine profiles from TOML, checked key by key and then for what contradicts."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from blankcam.faults import Fault, InputError
from blankcam.inputs import layers
from blankcam.inputs.border import (
    FileKind,
    Source,
    faults_of,
    in_file_order,
    parse_toml,
    read_text,
    source_of,
    valid,
    wanted,
)
from blankcam.inputs.fields import FileTable
from blankcam.inputs.machine import (
    Axis,
    AxisError,
    AxisErrors,
    Controller,
    Drawn,
    Holding,
    MachineKind,
    PlanPosition,
    Probe,
    Profile,
    Safe,
    ToolChange,
)
from blankcam.inputs.machine_schema import (
    ControllerTable,
    DrawingTable,
    ProfileFile,
    SafeTable,
    ToolTable,
)
from blankcam.inputs.tool import Shape, Tool

FILE = FileKind(name="a machine profile")
CONE_SLACK = 0.98
"""A cone's angle and length are printed rounded."""
_CUTTING = ("travel", "feed_max", "spindle_max", "tools")
NEEDED = {
    MachineKind.MILL: _CUTTING,
    MachineKind.ROUTER: _CUTTING,
    MachineKind.LASER: ("kerf",),
    MachineKind.HAND: (),
}
"""What a profile of a kind must say for itself."""
_AXES = ("travel", "rapid", "acceleration", "feed_max")
_POINTED = (Shape.TAPERED_BALL, Shape.VEE)
_OF_AXES = ("backlash", "backlash_within", "scale", "scale_within")
PRINTED = {"mm": 1e-4, "inch": 2.54e-4}
"""mm: the last digit that a program is printed with."""
MOST_OFF = 0.2
"""mm by which a tool may cut wider or narrower than it is sold; more is another tool."""


def shipped() -> dict[str, Path]:
    """The profiles that come with blankcam, by name: in the wheel, or in a source checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "machines", package.parent / "machines"):
        if folder.is_dir():
            return {p.stem: p for p in sorted(folder.glob("*.toml"))}
    return {}


def read_profile(name: str, *, where: str = "--machine", key: str = "") -> Profile:
    """A profile by the name of a shipped one, or by a path to a file of the maker's own.

    ``where`` and ``key`` say who named it, for faults.

    Raises
    ------
    InputError
        With every fault found.
    """
    known = shipped()
    path = str(known.get(name, name))
    if not path.endswith(".toml"):
        raise InputError(_unknown(name, known, where, key))
    return parse_profile(read_text(path, fix=_hint(known)), where=path)


def _unknown(name: str, known: Iterable[str], where: str, key: str) -> Fault:
    near = difflib.get_close_matches(name, list(known), 1)
    fix = f"did you mean {near[0]}?" if near else _hint(known)
    return Fault(where=where, key=key, found=name, wrong="is not a machine profile", fix=fix)


def _hint(known: Iterable[str]) -> str:
    return f"shipped are {', '.join(known)}; a file of your own ends in .toml"


def parse_profile(text: str, where: str) -> Profile:
    """A profile from its text; ``where`` names it in faults.

    Raises
    ------
    InputError
        With every fault found, those between keys too.
    """
    tables = parse_toml(text, where)
    source = source_of(text, where)
    model, faults = faults_of(ProfileFile, tables, source, FILE)
    faults += _cross_faults(model or _readable(tables), _tools(tables), tables, source)
    if model is None or faults:
        raise InputError(in_file_order(faults))
    return _profile(model, where)


def _readable(tables: Mapping[str, Any]) -> ProfileFile | None:
    """A profile of the keys that can be read, each by itself; None where its kind can't be."""
    sound = {k: v for k, v in tables.items() if valid(ProfileFile, {"kind": "hand"} | {k: v})}
    return valid(ProfileFile, sound)


def _tools(tables: Mapping[str, Any]) -> list[ToolTable | None]:
    """The tools that can be read, each at its place in the file."""
    entries = tables.get("tools")
    return [valid(ToolTable, e) for e in entries] if isinstance(entries, list) else []


def _given(model: FileTable) -> dict[str, Any]:
    """The values of the keys that a table has; what it leaves out keeps its usual value."""
    return {key: value for key, value in model if value is not None}


def _profile(model: ProfileFile, where: str) -> Profile:
    kind = MachineKind(model.kind)
    values: dict[str, Any] = {"name": Path(where).stem, "spindle_max": 0.0} | _given(model)
    if "tool_change" in values:
        values["tool_change_seconds"] = values.pop("tool_change")
    for key in _AXES:
        if key in values:
            values[key] = Axis(**dict(values[key]))
    for key in _OF_AXES:
        values.pop(key, None)
    return Profile(
        **values
        | {
            "kind": kind,
            "path": where,
            "controller": _controller(_given(model.controller)),
            "holding": Holding(**_given(model.holding)),
            "safe": _safe(model.safe),
            "drawing": _drawn(model.drawing),
            "probe": Probe(**_given(model.probe)) if model.probe else None,
            "tools": tuple(_as_it_cuts(t, model.runout) for t in model.tools),
            "errors": AxisErrors(**{axis: _axis_error(model, axis) for axis in "xyz"}),
        }
    )


def _axis_error(model: ProfileFile, axis: str) -> AxisError:
    """How one axis really moves; a scale is stated in percent."""
    given = {k: t for k in _OF_AXES if (t := getattr(model, k)) is not None}
    shares = {k: 0.01 if k.startswith("scale") else 1.0 for k in given}
    values = {k: shares[k] * getattr(t, axis) for k, t in given.items()}
    if "backlash" in values:
        step = PRINTED[model.controller.units or "mm"]
        values["backlash"] = round(values["backlash"] / step) * step
    return AxisError(**values)


def _controller(values: dict[str, Any]) -> Controller:
    values["tool_change"] = ToolChange(values["tool_change"])
    if "arc_planes" in values:
        values["arc_planes"] = frozenset(values["arc_planes"])
    return Controller(**values)


def _safe(model: SafeTable) -> Safe:
    values = _given(model)
    kinds: dict[str, type[Axis | PlanPosition]] = {
        "lowest": Axis,
        "park": PlanPosition,
        "change": PlanPosition,
    }
    for key in kinds.keys() & values.keys():
        values[key] = kinds[key](**dict(values[key]))
    return Safe(**values)


def _drawn(model: DrawingTable) -> Drawn:
    values = _given(model)
    if model.layers is not None:
        values["layers"] = layers.changed(_given(row) for row in model.layers)
    return Drawn(**values)


def _tool(model: ToolTable) -> Tool:
    """The tool as it is sold."""
    usual = {"reach": model.flute_length, "shank": model.diameter}
    values = usual | _given(model) | {"shape": Shape(model.shape)}
    for key in ("effective_diameter", "effective_within"):
        values.pop(key, None)
    return Tool(**values)


def _as_it_cuts(model: ToolTable, runout: float | None) -> Tool:
    """The tool as wide as it cuts: as measured, else its own diameter and the machine's runout."""
    tool, wide = _tool(model), model.effective_diameter
    if wide is None:
        if not runout:
            return tool
        wide, within = tool.diameter + runout, runout / 2
    else:
        within = model.effective_within or 0.0
    pointed = tool.shape in _POINTED
    return dataclasses.replace(
        tool,
        diameter=wide,
        nominal=tool.diameter,
        diameter_within=within,
        tip_diameter=tool.tip_diameter + wide - tool.diameter if pointed else 0.0,
    )


def _cross_faults(
    model: ProfileFile | None,
    tools: list[ToolTable | None],
    tables: Mapping[str, Any],
    source: Source,
) -> Iterator[Fault]:
    """Faults that lie between keys, over whatever can be read."""
    if model is not None:
        yield from _missing(MachineKind(model.kind), tables, source)
        yield from _contradictions(model, source)
    for i, tool in enumerate(tools):
        if tool is not None:
            yield from _tool_faults(tool, i, source)
    yield from _shared_numbers(tools, source)


def _missing(kind: MachineKind, tables: Mapping[str, Any], source: Source) -> Iterator[Fault]:
    for key in NEEDED[kind]:
        if key not in tables or (key == "tools" and tables[key] == []):
            wrong = "has no tool" if key == "tools" else "is missing"
            yield source.fault((key,), wrong, wanted(ProfileFile.model_fields[key]))


def _contradictions(model: ProfileFile, source: Source) -> Iterator[Fault]:
    low, high = model.spindle_min, model.spindle_max
    if low is not None and high is not None and low > high:
        yield source.fault(("spindle_min",), "is over spindle_max", found=f"{low:g} rpm")
    if model.stock is not None and model.kind != MachineKind.LASER.value:
        wrong, fix = f"means nothing on a {model.kind}", "it says what lies under a laser"
        yield source.fault(("stock",), wrong, fix)
    yield from _length_faults(model.controller, source)
    yield from _stop_faults(model, source)
    yield from _safe_faults(model, source)
    try:
        _drawn(model.drawing)
    except ValueError as fault:
        yield source.fault(("drawing", "layers"), str(fault))


def _length_faults(control: ControllerTable, source: Source) -> Iterator[Fault]:
    """Tools' lengths that would count nowhere, or are needed and do not count."""
    if control.length_offsets and control.tool_change == ToolChange.STOP.value:
        wrong = "is of no use where the maker sets zero again at each tool change"
        fix = 'set tool_change = "automatic" or leave it out'
        yield source.fault(("controller", "length_offsets"), wrong, fix)
    if not control.length_offsets and control.tool_change == ToolChange.AUTOMATIC.value:
        yield source.fault(
            ("controller", "tool_change"),
            "would cut with each tool at the height set for another: no tool's length counts, and "
            "Z can't be set again between them",
            "add length_offsets = true where the controller counts lengths (G43); or leave "
            "tool_change out for one file a tool",
            ToolChange.AUTOMATIC.value,
        )


def _stop_faults(model: ProfileFile, source: Source) -> Iterator[Fault]:
    """Why tools can't be changed at a stop of this machine."""
    control = model.controller
    if control.tool_change != ToolChange.STOP.value:
        return
    lacking = [
        words
        for words, there in (
            ("stop_allows_zero = true", control.stop_allows_zero),
            ("machine_coordinates = true", control.machine_coordinates),
            ('change = { x = "..", y = ".." } under [safe]', model.safe.change),
        )
        if not there
    ]
    if lacking:
        yield source.fault(
            ("controller", "tool_change"),
            "needs a controller that takes jogs and a new zero while a program stands at M0 (most "
            "that stream lines take neither), and a place to change tools",
            f"leave it out for one file a tool; or, where yours can, add {' and '.join(lacking)}",
            ToolChange.STOP.value,
        )


def _safe_faults(model: ProfileFile, source: Source) -> Iterator[Fault]:
    """Safe places of a machine without its own coordinates, or outside its travel."""
    given = _given(model.safe)
    placed = [key for key in ("lowest", "height", "park", "change") if key in given]
    if placed and not model.controller.machine_coordinates:
        wrong = "is in machine coordinates, which this machine is not said to have"
        fix = "set machine_coordinates = true under [controller] if it finds its home by itself"
        yield source.fault(("safe", placed[0]), wrong, fix)
    elif model.travel is not None:
        safe = _safe(model.safe)
        places = Profile(
            name="", kind=MachineKind.MILL, travel=Axis(**dict(model.travel)), safe=safe
        ).safe_places
        for key, axis, value in _named_places(safe):
            low, high = getattr(places.low, axis), getattr(places.high, axis)
            if not low <= value <= high:
                wrong = f"is outside the travel of {axis.upper()}"
                fix = f"it goes from {low:g} to {high:g} mm; say where its low end is in lowest"
                yield source.fault(("safe", *key), wrong, fix, f"{value:g} mm")


def _named_places(safe: Safe) -> Iterator[tuple[tuple[str, ...], str, float]]:
    """Key, axis and value of each coordinate that a profile gives."""
    if safe.height is not None:
        yield ("height",), "z", safe.height
    for key in ("park", "change"):
        if (spot := getattr(safe, key)) is not None:
            yield (key, "x"), "x", spot.x
            yield (key, "y"), "y", spot.y


def _shared_numbers(tools: list[ToolTable | None], source: Source) -> Iterator[Fault]:
    first: dict[int, int] = {}
    for i, tool in enumerate(tools):
        if tool is not None and first.setdefault(tool.number, i) != i:
            wrong = f"is also the number of tools[{first[tool.number]}]"
            at = ("tools", i, "number")
            yield source.fault(at, wrong, "give each tool its own", tool.number)


def _tool_faults(model: ToolTable, i: int, source: Source) -> Iterator[Fault]:
    """Sizes of one tool that contradict one another."""
    tool = _tool(model)

    def fault(key: str, wrong: str, fix: str = "") -> Fault:
        return source.fault(("tools", i, key), wrong, fix)

    if tool.reach < tool.flute_length:
        yield fault("reach", f"is shorter than flute_length {tool.flute_length:g} mm")
    if tool.stick_out < tool.reach and tool.shank != tool.diameter:
        yield fault("stick_out", f"is shorter than reach {tool.reach:g} mm")
    if tool.stick_out < tool.flute_length:
        yield fault("stick_out", f"is shorter than flute_length {tool.flute_length:g} mm")
    if abs((model.effective_diameter or tool.diameter) - tool.diameter) > MOST_OFF:
        wrong = f"is more than {MOST_OFF:g} mm off diameter {tool.diameter:g} mm"
        yield fault(
            "effective_diameter", wrong, "measure it again, or give the tool's own diameter"
        )
    if tool.tip_diameter > tool.diameter:
        yield fault("tip_diameter", f"is wider than diameter {tool.diameter:g} mm")
    yield from _cone_faults(model, tool, fault)


def _cone_faults(
    model: ToolTable, tool: Tool, fault: Callable[[str, str, str], Fault]
) -> Iterator[Fault]:
    """What a pointed tool must say of its cone, and any other must not."""
    fields = ToolTable.model_fields
    if tool.shape not in _POINTED:
        for key in ("tip_diameter", "angle"):
            if getattr(model, key) is not None:
                yield fault(key, f"means nothing on a {tool.shape} tool", "leave it out")
        return
    needed = ("tip_diameter", "angle") if tool.shape is Shape.TAPERED_BALL else ("angle",)
    missing = [key for key in needed if getattr(model, key) is None]
    for key in missing:
        yield fault(key, "is missing", wanted(fields[key]))
    wide = 2 * tool.radius_at(tool.flute_length)
    if not missing and wide < CONE_SLACK * tool.diameter:
        wrong = f"is wider than the cone where its flutes end, {wide:.2f} mm"
        yield fault("diameter", wrong, "give the diameter the flutes reach, or their full length")
