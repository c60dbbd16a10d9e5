"""From a job file's text to a checked job, every fault told at once."""

from __future__ import annotations

import copy
import difflib
import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, replace
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from blankcam import digest
from blankcam.data import table
from blankcam.faults import MOST_TOLD, Fault, InputError
from blankcam.inputs import job, job_schema
from blankcam.inputs.border import Path, key_lines, line_of, spelled

LARGEST_FILE = 1_000_000
LONGEST_LINE = 4_000
DEEPEST = 16
# Measured on the instrument itself: taken from the kind only with a caution to measure.
MEASURED = (
    "board.width_at_nut", "board.radius", "board.fret_height", "nut.seat_width", "nut.seat_drop",
    "saddle.slot_width", "saddle.slot_length", "saddle.slot_depth", "saddle.front_at",
    "saddle.fret_line", "blanks.nut.length", "blanks.nut.height", "blanks.nut.thickness",
    "blanks.saddle.length", "blanks.saddle.height", "blanks.saddle.thickness",
)  # fmt: skip
# What keys were called before, for the hint beside a key that is not known.
FORMER_NAMES = {"crown": "fret_height", "setbacks": "compensation"}


def read_text(path: str) -> str:
    """The text of a file a user named.

    Raises
    ------
    InputError
        When it is missing, too large, not a file or not UTF-8.
    """
    raw = b""
    try:
        if not FilePath(path).is_file():  # nor a pipe or a device, which may have no end
            wrong = "is not a file" if FilePath(path).exists() else "there is no such file"
            raise InputError(Fault(where=path, wrong=wrong))
        with FilePath(path).open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise InputError(Fault(where=path, wrong=f"is over {LARGEST_FILE} bytes long"))
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        where = raw.count(b"\n", 0, fault.start) + 1
        raise InputError(
            Fault(where=path, line=where, wrong="is not UTF-8 text", fix="save it as UTF-8")
        ) from None
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=path, wrong=f"can't be read ({_reason(fault)})")) from None


def _reason(fault: Exception) -> str:
    return (fault.strerror or "").lower() if isinstance(fault, OSError) else str(fault)


def parse_toml(text: str, path: str) -> dict[str, Any]:
    """The TOML of a text.

    Raises
    ------
    InputError
        Where it is not TOML, or built so that reading it would not end.
    """
    if long := [i for i, line in enumerate(text.splitlines(), 1) if len(line) > LONGEST_LINE]:
        wrong = f"is over {LONGEST_LINE} characters long"
        raise InputError(Fault(where=path, line=long[0], wrong=wrong))
    try:
        tables = tomllib.loads(text)
    except ValueError as fault:  # of TOML, or of a number with thousands of digits
        raise InputError(Fault(where=path, wrong=f"is not TOML: {fault}")) from None
    except RecursionError:
        tables = None
    if tables is None or _is_deeper(tables, DEEPEST):
        raise InputError(Fault(where=path, wrong="is nested too deeply"))
    return tables


def _is_deeper(tables: dict[str, Any], most: int) -> bool:
    """Whether tables and lists stand in each other more than so many times."""
    level: list[Any] = [tables]
    for _ in range(most):
        inner = (v.values() if isinstance(v, dict) else v for v in level)
        level = [w for held in inner for w in held if isinstance(w, dict | list)]
    return bool(level)


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
    # of a kind that is none, only that is told, not all that it leaves open
    for source in (typical[kind if kind in job.KINDS else job.KINDS[0]], typical["any"]):
        _take(filled, copy.deepcopy(source), (), assumed)
    return filled, tuple(assumed)


def _take(into: dict[str, Any], source: dict[str, Any], at: Path, assumed: list[str]) -> None:
    for key, value in source.items():
        if key == "first_fret" and "lift" in into:
            continue  # the job says the height at the nut in the other way
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
    try:
        model = job_schema.JobFile.model_validate(tables)
    except ValidationError as fault:
        found = fault.errors(include_url=False)[: 2 * MOST_TOLD]
        raise InputError([_fault(e, tables, path, lines) for e in found]) from None
    made = _job(model, assumed, path)
    if faults := list(_cross_faults(made, path, lines)):
        raise InputError(faults)
    return made


def _fault(e: ErrorDetails, tables: dict[str, Any], path: str, lines: dict[Path, int]) -> Fault:
    at = _clean(e["loc"], tables)
    wrong, fix, found = e["msg"].removeprefix("Value error, "), "", e["input"]
    if e["type"] == "missing":
        wrong, found = "is missing", None
    elif e["type"] == "extra_forbidden":
        wrong, found = "is not a key of a job file", None
        fix = _suggestion(at)
    elif isinstance(found, dict | list):
        found = None
    elif e["type"] == "string_pattern_mismatch":
        wrong = 'is not a note; write a letter, # or b, and the octave, such as "E2" or "Bb3"'
    wrong = wrong.replace("Input should be", "should be")
    return Fault(
        where=path, line=line_of(lines, at), key=spelled(at), found=found, wrong=wrong, fix=fix
    )


def _clean(loc: tuple[int | str, ...], tables: Any) -> Path:
    """The location without the marks a union adds: only steps that the tables know or lack."""
    kept: list[int | str] = []
    here = tables
    for i, step in enumerate(loc):
        last = i == len(loc) - 1
        if isinstance(here, dict) and (step in here or last):
            here = here.get(step)
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            here = here[step]
        else:
            continue
        kept.append(step)
    return tuple(kept)


def _suggestion(at: Path) -> str:
    names, name = list(known_keys(at[:-1])), str(at[-1])
    if (now := FORMER_NAMES.get(name)) in names:
        return f"did you mean {now!r}?"
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    return f"did you mean {close[0]!r}?" if close else f"known keys: {', '.join(names)}"


def known_keys(at: Path) -> Iterator[str]:
    """The keys that may stand in the table at a path of the job file."""
    model: type[BaseModel] = job_schema.JobFile
    for step in at:
        if step == "strings" or isinstance(step, int):
            model = job_schema.String
        else:
            found = model.model_fields[step].annotation
            model = found if isinstance(found, type) and issubclass(found, BaseModel) else model
    yield from model.model_fields


def _job(model: job_schema.JobFile, assumed: tuple[str, ...], path: str) -> job.Job:
    blanks = model.blanks
    made = job.Job(
        path="",
        digest="",
        assumed=(),
        instrument=job.InstrumentJob(**dict(model.instrument)),
        board=job.BoardJob(**dict(model.board)),
        strings=tuple(job.StringJob(**dict(s)) for s in model.strings),
        nut=job.NutJob(**dict(model.nut)),
        saddle=job.SaddleJob(**dict(model.saddle)),
        blanks=job.BlanksJob(
            material=blanks.material,
            fit=blanks.fit,
            nut=job.BlankJob(**dict(blanks.nut)),
            saddle=job.BlankJob(**dict(blanks.saddle)),
        ),
        plan=job.PlanJob(**dict(model.plan)),
        holding=job.HoldingJob(**dict(model.holding)),
        uncertainty=job.UncertaintyJob(**dict(model.uncertainty)),
    )
    text = json.dumps(asdict(made), sort_keys=True, ensure_ascii=True)
    assumed = tuple(key for key in assumed if _is_used(key, made))
    return replace(made, path=path, assumed=assumed, digest=digest.of_text(text))


def _is_used(key: str, made: job.Job) -> bool:
    """Whether anything comes of a key that was assumed: a gap in a course wants a course."""
    courses = [s.course for s in made.strings if s.course is not None]
    return not key.endswith(".course_gap") or len(set(courses)) < len(courses)


def _cross_faults(made: job.Job, path: str, lines: dict[Path, int]) -> Iterator[Fault]:
    """Faults that lie between keys."""

    def fault(at: Path, wrong: str, fix: str = "") -> Fault:
        return Fault(where=path, line=line_of(lines, at), key=spelled(at), wrong=wrong, fix=fix)

    count = len(made.strings)
    for at, value in (
        (("nut", "first_fret"), made.nut.first_fret),
        (("nut", "lift"), made.nut.lift),
        (("nut", "exposure"), made.nut.exposure),
        (("nut", "compensation"), made.nut.compensation),
        (("saddle", "action"), made.saddle.action),
        (("saddle", "compensation"), made.saddle.compensation),
    ):
        if isinstance(value, tuple) and len(value) != count:
            yield fault(at, f"has {len(value)} values for {count} strings", "one value a string")
    if made.nut.first_fret is not None and made.nut.lift is not None:
        yield fault(("nut", "lift"), "given beside first_fret", "keep one of the two")
    if made.nut.first_fret is None and made.nut.lift is None:
        yield fault(("nut", "first_fret"), "is missing", "give first_fret or lift")
    if (made.saddle.tie_height is None) != (made.saddle.tie_run is None):
        missing = "tie_run" if made.saddle.tie_run is None else "tie_height"
        yield fault(("saddle", missing), "is missing", "tie_height and tie_run go together")
    yield from _course_faults(made, fault)
    half = max(made.board.width_at_nut, made.saddle.slot_length) / 2
    if _least_radius(made) <= half * 1.05:
        yield fault(
            ("board", "radius"),
            "is too small for parts so long somewhere between nut and saddle",
            "check the radius and where each end of it was measured",
        )
    low, high = job_schema.sane("saddle.compensation")
    ahead = made.saddle.front_at - made.instrument.scale
    if not low - made.saddle.slot_width <= ahead <= high:
        yield fault(
            ("saddle", "front_at"),
            f"{made.saddle.front_at:g} mm does not go with a scale of {made.instrument.scale:g} mm",
            "measure from the nut's witness edge to the near edge of the saddle's slot",
        )


def _least_radius(made: job.Job) -> float:
    """The board's smallest radius between nut and saddle, where a compound one is carried on."""
    radius = made.board.radius
    if math.isinf(radius.nut):
        return radius.nut
    slope = (radius.end - radius.nut) / radius.end_at
    return min(radius.nut, radius.nut + slope * made.instrument.scale * 1.05)


def _course_faults(made: job.Job, fault: Any) -> Iterator[Fault]:
    courses = [s.course for s in made.strings]
    if any(c is not None for c in courses):
        for i, course in enumerate(courses):
            before = courses[i - 1] if i else 0
            expected = (before, (before or 0) + 1)
            if course is None:
                yield fault(("strings", i), "has no course", "give every string one, or none")
                return
            if course not in expected or (i == 0 and course != 1):
                yield fault(
                    ("strings", i, "course"),
                    f"{course} is out of order",
                    "count courses 1, 2, 3 from the bass side, equal for strings fretted as one",
                )
                return
