"""The one border for files a maker writes: text in, checked values out, every fault told at once.

Each fault has the file, the line, the key path, the value found, what is wrong and what would do.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from blankcam.faults import MOST_TOLD, Fault, InputError, printable
from blankcam.file_kinds import why_no_file
from blankcam.inputs.fields import Wanted
from blankcam.inputs.toml_faults import syntax_fault

LARGEST_FILE = 1_000_000
LONGEST_LINE = 4_000
DEEPEST = 16

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")

Path = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)


def read_text(path: str, fix: str = "") -> str:
    """The text of a file a user named; a byte-order mark at its head is forgiven.

    Parameters
    ----------
    path : as the user wrote it
    fix : what would do where there is no such file

    Raises
    ------
    InputError
        When it is missing, too large, not a file or not UTF-8.
    """
    raw = b""
    try:
        if wrong := why_no_file(path):  # a pipe or a device may have no end
            raise InputError(Fault(where=path, wrong=wrong, fix=fix))
        with FilePath(path).open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise InputError(Fault(where=path, wrong=f"is over {LARGEST_FILE} bytes long"))
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise InputError(
            Fault(where=path, line=line, wrong="is not UTF-8 text", fix="save it as UTF-8")
        ) from None
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=path, wrong=f"can't be read ({_reason(fault)})")) from None


def _reason(fault: Exception) -> str:
    return (fault.strerror or "").lower() if isinstance(fault, OSError) else str(fault)


def parse_toml(text: str, path: str) -> dict[str, Any]:
    """The tables of a TOML text; ``path`` names it in faults.

    Raises
    ------
    InputError
        Where it is not TOML, or built so that reading it would not end.
    """
    text = text.removeprefix("\ufeff")
    if long := [i for i, line in enumerate(text.split("\n"), 1) if len(line) > LONGEST_LINE]:
        wrong = f"is over {LONGEST_LINE} characters long"
        raise InputError(Fault(where=path, line=long[0], wrong=wrong))
    try:
        tables = tomllib.loads(text)
    except ValueError as fault:  # of TOML, or of a number with thousands of digits
        raise InputError(syntax_fault(text, path, fault)) from None
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


@dataclass(frozen=True, slots=True, kw_only=True)
class FileKind:
    """What a kind of file is called, and the keys it once had by another name."""

    name: str
    """Such as ``a job file``."""
    former: Mapping[str, str] = field(default_factory=dict)
    """What a key is called now, by what it was called before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where tables came from, for their faults."""

    path: str
    """The file as the user named it."""
    lines: Mapping[Path, int]
    """From ``key_lines``."""
    numbers: tuple[object, ...] = ()
    """The number that each entry of ``[[strings]]`` gives itself, in the order of the file."""

    def fault(self, at: Path, wrong: str, fix: str = "", found: object = None) -> Fault:
        """A fault of the key at a path."""
        return Fault(
            where=self.path,
            line=line_of(self.lines, at),
            key=spelled(self._numbered(at)),
            found=found,
            wrong=wrong,
            fix=fix,
        )

    def string_fault(self, at: Path, wrong: str, fix: str = "") -> Fault:
        """A fault of a string that is named by its number."""
        places = [i for i, number in enumerate(self.numbers) if number == at[1]]
        return self.fault((at[0], *places[:1], *at[2:]), wrong, fix)

    def _numbered(self, at: Path) -> Path:
        """The path with a string's own number in place of its place in the file."""
        if len(at) < 2 or at[0] != "strings" or at[1] not in range(len(self.numbers)):
            return at
        number = self.numbers[int(at[1])]
        return (at[0], number, *at[2:]) if isinstance(number, int) else at


def source_of(text: str, path: str) -> Source:
    """A source that knows the line of each key."""
    return Source(path=path, lines=key_lines(text))


def faults_of(
    model: type[Model], tables: Mapping[str, Any], source: Source, kind: FileKind
) -> tuple[Model | None, list[Fault]]:
    """The model of some tables, or None and every fault of theirs in the order of the file."""
    try:
        return model.model_validate(tables), []
    except ValidationError as found:
        errors = found.errors(include_url=False)[: 2 * MOST_TOLD]
    return None, in_file_order(_fault(e, model, source, kind) for e in errors)


def validated(
    model: type[Model], tables: Mapping[str, Any], source: Source, kind: FileKind
) -> Model:
    """The model of some tables; raises InputError with every fault."""
    made, faults = faults_of(model, tables, source, kind)
    if made is None:
        raise InputError(faults)
    return made


def valid(model: type[Model], tables: object) -> Model | None:
    """The model of some tables, None where they have any fault."""
    try:
        return model.model_validate(tables)
    except ValidationError:
        return None


def in_file_order(faults: Iterable[Fault]) -> list[Fault]:
    """Faults by their lines; those without one first."""
    return sorted(faults, key=lambda f: f.line or 0)


def model_at(model: type[BaseModel], at: Path) -> type[BaseModel] | None:
    """The model of the table at a path, None where no table can stand."""
    for step in at:
        if isinstance(step, str):
            inner = model.model_fields.get(step)
            found = None if inner is None else _table_model(inner.annotation)
            if found is None:
                return None
            model = found
    return model


def _table_model(annotation: Any) -> type[BaseModel] | None:
    """The model inside ``Model``, ``Model | None`` or ``list[Model]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _table_model(a))), None)


def _fault(e: ErrorDetails, model: type[BaseModel], source: Source, kind: FileKind) -> Fault:
    at, value = e["loc"], e["input"]
    found = None if e["type"] == "missing" or isinstance(value, dict | list) else value
    wrong, fix = _told(e, model, kind)
    return source.fault(at, printable(wrong, 300), printable(fix, 900), found)


def _told(e: ErrorDetails, model: type[BaseModel], kind: FileKind) -> tuple[str, str]:
    """What is wrong and what would do."""
    at, context = e["loc"], e.get("ctx", {})
    table = model_at(model, at[:-1])
    info = table.model_fields.get(str(at[-1])) if table and at else None
    match e["type"]:
        case "missing":
            return "is missing", wanted(info)
        case "extra_forbidden":
            return f"is not a key of {kind.name}", did_you_mean(str(at[-1]), table, kind)
        case "literal_error":
            return "is not known", _nearest(e["input"], _choices(info.annotation if info else None))
        case "value_error":
            error = context["error"]
            return getattr(error, "wrong", str(error)), getattr(error, "fix", "")
        case "model_type" | "model_attributes_type":
            return "is not a table", wanted(info)
    words = _WORDS.get(e["type"], e["msg"].replace("Input should be", "should be"))
    return words.format(**context), wanted(info)


_WORDS = {
    "string_type": "is not a text",
    "string_too_long": "is not a short text; at most {max_length} characters",
    "string_too_short": "is an empty text",
    "bool_type": "is neither true nor false",
    "float_type": "is not a number",
    "finite_number": "is not a finite number",
    "greater_than_equal": "is below {ge:g}",
    "less_than_equal": "is over {le:g}",
    "list_type": "is not a list",
    "too_long": "has more than {max_length} entries",
    "too_short": "has too few entries; at least {min_length}",
}


def wanted(info: FieldInfo | None) -> str:
    """What a key wants to hold, as advice; empty where nothing is known."""
    if info is None:
        return ""
    inner = (m for a in get_args(info.annotation) for m in getattr(a, "__metadata__", ()))
    for mark in (*info.metadata, *inner):
        if isinstance(mark, Wanted):
            return mark.fix
    choices = _choices(info.annotation)
    return f"use one of {', '.join(choices)}" if choices else ""


def _choices(annotation: Any) -> tuple[str, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return tuple(c for a in get_args(annotation) for c in _choices(a))


def _nearest(value: object, choices: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(str(value), choices, 1)
    return f"did you mean {near[0]!r}?" if near else f"use one of {', '.join(choices)}"


def did_you_mean(name: str, table: type[BaseModel] | None, kind: FileKind) -> str:
    """The key that was likely meant, or all there are."""
    names = list(table.model_fields) if table else []
    near = difflib.get_close_matches(name, names, 1)
    if (now := kind.former.get(name)) in names:
        near = [str(now)]
    return f"did you mean {near[0]!r}?" if near else f"known keys: {', '.join(names)}"


def key_lines(text: str) -> dict[Path, int]:
    """Line number by key path; tables count too. A path that is not found is simply missing.

    The library that parses TOML does not say where a key stands. Keys inside inline tables and
    arrays are not listed: ``line_of`` falls back to their parent.
    """
    lines: dict[Path, int] = {}
    table: Path = ()
    counts: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), start=1):
        if header := _HEADER.match(line):
            names = _names(header[2])
            if header[1] == "[[":
                whole = ".".join(names)
                index = counts.get(whole, 0)
                counts[whole] = index + 1
                table = (*names, index)
            else:
                table = names
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_names(key[1])), number)
    return lines


def line_of(lines: Mapping[Path, int], path: Path) -> int | None:
    """The line of a key, or of the nearest table above it."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def spelled(path: Path) -> str:
    """The key path as people write it: ``strings[2].gauge``."""
    words = ""
    for step in path:
        words += f"[{step}]" if isinstance(step, int) else f".{step}" if words else str(step)
    return words


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
