"""From a job file's text to a checked job, every fault told at once."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, replace
from typing import Any

from blankcam import digest
from blankcam.data import table
from blankcam.faults import Fault, InputError
from blankcam.inputs import job, job_schema
from blankcam.inputs.border import (
    FileKind,
    Path,
    Source,
    in_file_order,
    key_lines,
    model_at,
    parse_toml,
    read_text,
    spelled,
    validated,
)
from blankcam.inputs.fields import sane

FILE = FileKind(name="a job file", former={"crown": "fret_height", "setbacks": "compensation"})
# Measured on the instrument itself: taken from the kind only with a caution to measure.
MEASURED = (
    "board.width_at_nut", "board.radius", "board.fret_height", "nut.seat_width", "nut.seat_drop",
    "saddle.slot_width", "saddle.slot_length", "saddle.slot_depth", "saddle.front_at",
    "saddle.fret_line", "blanks.nut.length", "blanks.nut.height", "blanks.nut.thickness",
    "blanks.saddle.length", "blanks.saddle.height", "blanks.saddle.thickness",
)  # fmt: skip


# What a job needs of [nut] or [saddle] where that part is not made: the strings, as they stand.
PLACING = (
    "margin_bass", "margin_treble", "margin_to", "spacing", "course_gap", "first_fret",
    "third_fret",
    "lift", "string_span", "action",
)  # fmt: skip


# Who cuts what is of one part alone.
_MADE_BY = {"plan.top": "nut", "plan.slots": "nut", "plan.crown": "saddle", "plan.ends": "saddle"}


# What stands in a job in place of a key.
_INSTEAD = {"first_fret": ("lift", "third_fret"), "seat_drop": ("marked_line",)}


def load(path: str) -> job.Job:
    """The job in a file; raises InputError with every fault found."""
    return parse(read_text(path), path)


def parse(text: str, path: str) -> job.Job:
    """The job in a text.

    Parameters
    ----------
    text : TOML as design of the job file says
    path : the name the user knows it by, for messages

    Raises
    ------
    InputError
        With every fault of the job, each with its key path and line.
    """
    raw = parse_toml(text, path)
    filled, assumed = fill(raw)
    return from_tables(filled, assumed, path, key_lines(text))


def fill(raw: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The tables with what they leave out taken from their kind, and the key paths so taken."""
    filled = copy.deepcopy(dict(raw))
    instrument = filled.get("instrument")
    kind = instrument.get("kind") if isinstance(instrument, dict) else None
    typical = table("typical")
    assumed: list[str] = []
    only = _blanks_given(filled)
    # of a kind that is none, only that is told, not all that it leaves open
    for source in (typical[kind if kind in job.KINDS else job.KINDS[0]], typical["any"]):
        left = copy.deepcopy(source)
        for name in ("nut", "saddle") if only else ():
            if name not in only:
                left.get("blanks", {}).pop(name, None)
        _take(filled, left, (), assumed)
    _space_as_the_nut(filled)
    return filled, tuple(assumed)


def _blanks_given(tables: Mapping[str, Any]) -> tuple[str, ...]:
    """The parts that a job gives a blank for: they alone are made. None: both, of
    typical blanks.
    """
    blanks = tables.get("blanks")
    return tuple(n for n in ("nut", "saddle") if isinstance(blanks, dict) and n in blanks)


def _space_as_the_nut(filled: dict[str, Any]) -> None:
    """The strings space at the saddle as they do at the nut, unless the job says another."""
    nut, saddle = filled.get("nut"), filled.get("saddle")
    if isinstance(nut, dict) and isinstance(saddle, dict) and "spacing" not in saddle:
        saddle["spacing"] = nut.get("spacing")


def _take(into: dict[str, Any], source: dict[str, Any], at: Path, assumed: list[str]) -> None:
    for key, value in source.items():
        if any(other in into for other in _INSTEAD.get(key, ())):
            continue  # the job says it in the other way
        if isinstance(value, dict) and (key in ("nut", "saddle") or not at):
            inner = into.setdefault(key, {})
            if isinstance(inner, dict):
                _take(inner, value, (*at, key), assumed)
        elif key not in into:
            into[key] = value
            assumed.append(spelled((*at, key)))


def from_tables(
    tables: dict[str, Any], assumed: tuple[str, ...], path: str, lines: dict[Path, int]
) -> job.Job:
    """A job from filled tables; raises InputError with every fault."""
    source = Source(path=path, lines=lines, numbers=_numbers(tables))
    model = validated(job_schema.JobFile, tables, source, FILE)
    if faults := list(_number_faults(model, source)):
        raise InputError(faults)
    made = _job(model, assumed, path)
    if faults := in_file_order(_cross_faults(made, source)):
        raise InputError(faults)
    return made


def _numbers(tables: Mapping[str, Any]) -> tuple[object, ...]:
    """What the entries of ``[[strings]]`` say their numbers are, in the order of the file."""
    strings = tables.get("strings")
    if not isinstance(strings, list):
        return ()
    return tuple(s.get("number") if isinstance(s, dict) else None for s in strings)


def _from_the_bass(model: job_schema.JobFile) -> list[job_schema.StringTable]:
    """The strings from the bass side, in whatever order the file has them."""
    return sorted(model.strings, key=lambda s: s.number, reverse=True)


def _number_faults(model: job_schema.JobFile, source: Source) -> Iterator[Fault]:
    """String numbers that are given twice, or left out below the highest."""
    numbers = [s.number for s in model.strings]
    fix = f"number them 1 to {len(numbers)}, 1 for the treble side's outermost"
    for i, number in enumerate(numbers):
        if number in numbers[:i] or number > len(numbers):
            wrong = "is another string's number" if number in numbers[:i] else "leaves a gap below"
            yield source.fault(("strings", i, "number"), wrong, fix, number)


def known_keys(at: Path) -> tuple[str, ...]:
    """The keys that may stand in the table at a path of a job file; none where no table can."""
    model = model_at(job_schema.JobFile, at)
    return tuple(model.model_fields) if model else ()


def _job(model: job_schema.JobFile, assumed: tuple[str, ...], path: str) -> job.Job:
    blanks = model.blanks
    made = job.Job(
        path="",
        digest="",
        assumed=(),
        instrument=job.InstrumentJob(**dict(model.instrument)),
        board=job.BoardJob(**dict(model.board)),
        strings=tuple(job.StringJob(**dict(s)) for s in _from_the_bass(model)),
        nut=job.NutJob(**dict(model.nut) | {"tilt": math.radians(model.nut.tilt)}),
        saddle=job.SaddleJob(**dict(model.saddle)),
        blanks=job.BlanksJob(
            material=blanks.material,
            fit=blanks.fit,
            nut=job.BlankJob(**dict(blanks.nut)) if blanks.nut else None,
            saddle=job.BlankJob(**dict(blanks.saddle)) if blanks.saddle else None,
        ),
        plan=job.PlanJob(**dict(model.plan)),
        holding=_holding(model.holding),
        uncertainty=job.UncertaintyJob(**dict(model.uncertainty)),
    )
    text = json.dumps(asdict(made), sort_keys=True, ensure_ascii=True)
    assumed = tuple(key for key in assumed if _is_used(key, made))
    return replace(made, path=path, assumed=assumed, digest=digest.of_text(text))


def _holding(model: job_schema.JobHoldingTable) -> job.HoldingJob:
    parts = {name: job.HeldJob(**dict(getattr(model, name))) for name in ("nut", "saddle")}
    both = {k: v for k, v in model if k not in parts}
    return job.HoldingJob(both=job.HeldJob(**both), **parts)


def _is_used(key: str, made: job.Job) -> bool:
    """Whether anything comes of a key that was assumed.

    A gap in a course wants a course; of a part that is not made only what places the strings
    counts.
    """
    where, _, name = key.partition(".")
    if key == "nut.pencil":
        return made.nut.marked_line is not None
    if (part := _MADE_BY.get(key)) and getattr(made.blanks, part) is None:
        return False
    if where in ("nut", "saddle") and getattr(made.blanks, where) is None and name not in PLACING:
        return False
    courses = [s.course for s in made.strings if s.course is not None]
    return not key.endswith(".course_gap") or len(set(courses)) < len(courses)


def _cross_faults(made: job.Job, source: Source) -> Iterator[Fault]:
    """Faults that lie between keys."""
    yield from _count_faults(made, source)
    yield from _height_faults(made, source)
    yield from _course_faults(made, source.string_fault)
    across = made.saddle.slot_length if made.blanks.saddle else made.saddle.string_span
    half = max(made.board.width_at_nut, across) / 2
    if _least_radius(made) <= half * 1.05:
        yield source.fault(
            ("board", "radius"),
            "is too small for parts so long somewhere between nut and saddle",
            "check the radius and where each end of it was measured",
        )
    if made.blanks.saddle is not None:
        yield from _front_faults(made, source)


def _count_faults(made: job.Job, source: Source) -> Iterator[Fault]:
    """Values by string that are too many or too few."""
    count = len(made.strings)
    for at, value in (
        (("nut", "first_fret"), made.nut.first_fret),
        (("nut", "third_fret"), made.nut.third_fret),
        (("nut", "lift"), made.nut.lift),
        (("nut", "exposure"), made.nut.exposure),
        (("nut", "compensation"), made.nut.compensation),
        (("saddle", "action"), made.saddle.action),
        (("saddle", "compensation"), made.saddle.compensation),
    ):
        if isinstance(value, tuple) and len(value) != count:
            wrong = f"has {len(value)} values for {count} strings"
            if len(value) < count:
                wrong += f": string {count} is left out"
            yield source.fault(at, wrong, "give one for each string number")


def _height_faults(made: job.Job, source: Source) -> Iterator[Fault]:
    """Heights that are given twice, not at all, or by half."""
    fault = source.fault
    ways = {k: getattr(made.nut, k) for k in ("first_fret", "third_fret", "lift")}
    given = [k for k, value in ways.items() if value is not None]
    if len(given) > 1:
        yield fault(("nut", given[1]), f"given beside {given[0]}", "keep one of them")
    if not given:
        yield fault(("nut", "first_fret"), "is missing", "give first_fret, third_fret or lift")
    if made.nut.seat_drop is None and made.nut.marked_line is None:
        yield fault(("nut", "seat_drop"), "is missing", "give seat_drop or marked_line")
    if (made.saddle.tie_height is None) != (made.saddle.tie_run is None):
        missing = "tie_run" if made.saddle.tie_run is None else "tie_height"
        yield fault(("saddle", missing), "is missing", "tie_height and tie_run go together")


def _front_faults(made: job.Job, source: Source) -> Iterator[Fault]:
    fault = source.fault
    low, high = sane("saddle.compensation")
    front, scale = made.saddle.front_at, made.instrument.scale
    for end in dict.fromkeys((front.bass, front.treble)):
        if not low - made.saddle.slot_width <= end - scale <= high:
            yield fault(
                ("saddle", "front_at"),
                f"{end:g} mm does not go with a scale of {scale:g} mm",
                "measure from the nut's front edge to the near edge of the saddle's slot",
            )
    slant = math.degrees(math.atan((front.bass - front.treble) / made.saddle.string_span))
    least, most = sane("saddle.slant")
    if not least <= slant <= most:
        yield fault(
            ("saddle", "front_at"),
            f"would slant the slot by {slant:.1f} degrees over {made.saddle.string_span:g} mm",
            f"expected {least:g} to {most:g} degrees, the bass end further from the nut",
        )


def _least_radius(made: job.Job) -> float:
    """The board's smallest radius between nut and saddle, where a compound one is carried on."""
    radius = made.board.radius
    if math.isinf(radius.nut):
        return radius.nut
    slope = (radius.end - radius.nut) / radius.end_at
    return min(radius.nut, radius.nut + slope * made.instrument.scale * 1.05)


def _course_faults(made: job.Job, fault: Callable[..., Fault]) -> Iterator[Fault]:
    """Courses that are not counted from the treble side, as the strings are."""
    strings = made.strings[::-1]
    if all(s.course is None for s in strings):
        return
    before = 0
    for string in strings:
        at = ("strings", string.number)
        if string.course is None:
            yield fault(at, "has no course", "give every string one, or none")
            return
        if string.course not in (max(before, 1), before + 1):
            yield fault(
                (*at, "course"),
                f"{string.course} is out of order",
                "count courses 1, 2, 3 from the treble side, equal for strings fretted as one",
            )
            return
        before = string.course
