"""A job asked for one measurement at a time, in the order a maker takes them.

A talk is a plain value: the kind and the answers so far, as they were typed. Each answer is read by
the same rules as a job file, at once; what is typical, moved along with what was measured before
it, is offered.
"""

from __future__ import annotations

import contextlib
import dataclasses
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from blankcam.data import table
from blankcam.faults import Fault, InputError, printable
from blankcam.inputs import job_file, starter, string_sets
from blankcam.inputs.border import parse_toml
from blankcam.inputs.job import KINDS
from blankcam.inputs.units import parse_length

SUFFIX = ".answers"
KIND, COUNT, GAUGES, UNIT = "instrument.kind", "strings", "gauges", "unit"
EACH = "each"
"""Answers the question for a set: every string is then asked for."""
_BEFORE = (
    KIND, "instrument.name", "instrument.scale", "instrument.handed", "board.width_at_nut",
    "board.radius", COUNT, GAUGES,
)  # fmt: skip
_AFTER = (
    "nut.margin_to", "nut.margin_bass", "nut.margin_treble", "nut.spacing", "nut.course_gap",
    "board.fret_height", "board.relief", "board.body_fret",
    "nut.seat_width", "nut.seat_drop", "nut.tilt", "blanks.material", "blanks.fit",
    "blanks.nut.length", "blanks.nut.height", "blanks.nut.thickness",
    "saddle.slot_width", "saddle.slot_length", "saddle.slot_depth", "saddle.slot_ends",
    "saddle.front_at", "saddle.string_span", "saddle.course_gap", "saddle.fret_line",
    "blanks.saddle.length", "blanks.saddle.height", "blanks.saddle.thickness",
    "nut.first_fret", "saddle.action", "nut.clearance", "plan.machine",
)  # fmt: skip
# What is offered for the one moves as far as the other was found off its typical value.
_FOLLOWS = {
    "saddle.front_at": "instrument.scale",
    "blanks.nut.length": "board.width_at_nut",
    "blanks.nut.thickness": "nut.seat_width",
    "blanks.saddle.length": "saddle.slot_length",
    "blanks.saddle.thickness": "saddle.slot_width",
}
_SIDES = {
    "length": "along the strings' row", "height": "standing in its seat", "thickness": "along the "
    "strings, with a caliper",
}  # fmt: skip
_FRACTION = re.compile(r"\s*(\d+[ -])?\d+/\d+\s*", re.ASCII)
_BARE = re.compile(r"\s*[-+]?(\d+\.?\d*|\.\d+)\s*", re.ASCII)
_ENDS_IN_UNIT = re.compile(
    r"""[\d.]\s*(mm|cm|in|inch|inches|ft|thou|"|″)\s*$""", re.ASCII | re.IGNORECASE
)
_STRING = "note, gauge, make"
_MANY = {"nut.first_fret", "saddle.action"}
_ENDS = {"saddle.front_at"}
_ENDS_WORDS = "one length, or two as: bass, treble"
_MANY_WORDS = (
    "one length, or two as: bass, treble, or one for each string from the bass side, commas between"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to be asked."""

    key: str
    """Its key path in the job file."""
    words: str
    """What it is and how it is measured."""
    offered: str
    """What an empty answer stands for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Talk:
    """The answers so far, as typed, by key path in the order they were asked."""

    answers: tuple[tuple[str, str], ...] = ()
    unit: str | None = None
    """Of the last length that the maker gave: what a bare number is then taken to be in."""


def part_path(path: str) -> str:
    """Where the answers so far are kept, beside the job file to be."""
    return path + SUFFIX


def question(talk: Talk) -> Question | None:
    """What to ask next; None when all is answered."""
    return next(_due(talk), None)


def _due(talk: Talk) -> Iterator[Question]:
    """Every question that is not answered yet."""
    done = {key for key, _ in talk.answers}
    tables = _tables(talk)
    for key in _keys(talk, tables):
        if key not in done:
            words = _words(key, _kind(talk))
            yield Question(key=key, words=words, offered=_offered(key, tables, talk))


def question_again(talk: Talk, key: str) -> Question:
    """A question that is answered, its answer being what is offered."""
    return Question(key=key, words=_words(key, _kind(talk)), offered=dict(talk.answers)[key])


def answered(
    talk: Talk,
    text: str,
    *,
    key: str | None = None,
    machine: Callable[[str], object] | None = None,
) -> Talk:
    """The talk with a question answered; empty text takes what is offered.

    Parameters
    ----------
    key : of a question that is not answered yet; else the next one is
    machine : called with a machine's name, raises InputError where there is none such

    Raises
    ------
    ValueError
        With what is wrong with the answer and what would do, in one line.
    """
    asked = next((q for q in _due(talk) if key in (None, q.key)), None)
    if asked is None:
        raise ValueError(f"{printable(key, 40)} is not an answer that is due here")
    said = _with_units(text.strip(), asked.offered, talk.unit) or asked.offered
    if not said.isprintable():
        raise ValueError(f"{printable(said, 40)!r} holds signs that can't be written")
    unit = (_unit(said) if text.strip() else None) or talk.unit
    after = Talk(answers=(*talk.answers, (asked.key, said)), unit=unit)
    try:
        _judge(after)
        if asked.key == "plan.machine" and machine is not None:
            machine(said)
    except InputError as fault:
        raise ValueError(_told(fault.faults[0])) from None
    return after


def _with_units(said: str, offered: str, unit: str | None) -> str:
    """An answer whose bare numbers have the unit they are meant in, where lengths are asked for."""
    asked, parts = offered.split(","), said.split(",")
    return ",".join(
        _in_unit(part, unit) if _unit(asked[min(i, len(asked) - 1)]) else part
        for i, part in enumerate(parts)
    )


def _in_unit(part: str, unit: str | None) -> str:
    """A bare fraction is of an inch, as makers say it; another bare number as the length before."""
    if _FRACTION.fullmatch(part):
        return f"{part} in"
    return f"{part} {unit}" if unit and _BARE.fullmatch(part) else part


def _unit(text: str) -> str | None:
    """The unit of the last length in a text, None where there is none."""
    found = [f for part in text.split(",") if (f := _ENDS_IN_UNIT.search(part))]
    return found[-1][1] if found else None


def back(talk: Talk) -> Talk:
    """The talk before its last answer."""
    return dataclasses.replace(talk, answers=talk.answers[:-1])


def changed(
    talk: Talk, key: str, text: str, *, machine: Callable[[str], object] | None = None
) -> Talk:
    """The talk with an answer given anew, and what was only offered after it offered anew.

    What no longer goes with the new answer is left out, so that it is asked again.

    Raises
    ------
    ValueError
        As `answered`, of the new answer.
    """
    before, after = Talk(), Talk()
    for at, was in talk.answers:
        offered = next(q.offered for q in _due(before) if q.key == at)
        before = answered(before, was, key=at)
        if at == key:
            after = answered(after, text or was, key=at, machine=machine)
            continue
        with contextlib.suppress(ValueError):
            after = answered(after, "" if was == offered else was, key=at)
    return dataclasses.replace(after, unit=after.unit or talk.unit)


def job_text(talk: Talk) -> str:
    """The job file of a whole talk."""
    words = "Its values were asked for and answered; those never asked for are typical."
    return starter.written(_tables(talk), words)


def kept(talk: Talk) -> str:
    """The answers so far as a file, for ``taken_up``."""
    head = "# Answers so far, kept by blankcam start --ask, which goes on from them.\n"
    known = [*talk.answers, *([(UNIT, talk.unit)] if talk.unit else [])]
    lines = (f"{starter.quoted(key)} = {starter.quoted(said)}" for key, said in known)
    return head + "\n".join(lines) + "\n"


def taken_up(text: str, path: str) -> Talk:
    """The talk that a file keeps, each answer judged anew.

    Raises
    ------
    InputError
        When the file is none of ours or an answer in it is not right.
    """
    fix = "remove it, and begin anew"
    stored = parse_toml(text, path)
    unit = stored.pop(UNIT, None)
    talk = Talk()
    try:
        for key, said in stored.items():
            talk = answered(talk, _stored(said), key=key)
        return dataclasses.replace(talk, unit=_known(unit))
    except ValueError as fault:
        wrong = f"does not hold answers: {printable(fault, 200)}"
        raise InputError(Fault(where=path, wrong=wrong, fix=fix)) from None


def _known(unit: object) -> str | None:
    if unit is None or (isinstance(unit, str) and _unit(f"1 {unit}") == unit):
        return unit
    raise ValueError(f"{printable(unit, 40)} is not a unit of length")


def _stored(said: object) -> str:
    if not isinstance(said, str) or not said:
        raise ValueError(f"{printable(said, 40)} is not an answer")
    return said


def _kind(talk: Talk) -> str:
    kind = dict(talk.answers).get(KIND, KINDS[0])
    return kind if kind in KINDS else KINDS[0]


def _keys(talk: Talk, tables: Mapping[str, Any]) -> Iterable[str]:
    """All questions in their order, given what is known."""
    answers, strings = dict(talk.answers), tables["strings"]
    yield KIND
    if KIND not in answers:
        return
    paired = any("course" in s for s in strings)
    usual = len(strings) == len(_typical(_kind(talk))["strings"])
    yield from (key for key in _BEFORE[1:] if usual or key != GAUGES)
    if not usual or answers.get(GAUGES) == EACH:
        yield from (f"strings[{number}]" for number in range(len(strings), 0, -1))
    yield from (key for key in _AFTER if paired or not key.endswith("course_gap"))


def _words(key: str, kind: str) -> str:
    words = table("keys")
    if key == GAUGES:
        return string_sets.words(kind) + f"; {EACH}, to say note, gauge and make one by one"
    if key == COUNT:
        return "how many strings, each string of a course counted"
    if key.startswith("strings["):
        return f"string {key[8:-1]}, 1 being the treble side's: {_STRING}; course, if paired"
    where, *name = key.split(".")
    if where == "blanks" and len(name) == 2:
        return f"the {name[0]}'s blank: its {name[1]}, {_SIDES[name[1]]}"
    more = f"; {_MANY_WORDS}" if key in _MANY else f"; {_ENDS_WORDS}" if key in _ENDS else ""
    if key == "board.radius":
        return "with a radius gauge: flat, one radius, or three as: at the nut, at the end, where"
    return f"{words[where][name[0]]}{more}"


def _tables(talk: Talk) -> dict[str, Any]:
    """The job file's tables: answers where there are any, else what would be offered."""
    answers = dict(talk.answers)
    tables = starter.values(_kind(talk))
    for key, said in talk.answers:
        _place(tables, key, _value(key, said, tables))
    for key in _FOLLOWS:
        if key not in answers:
            with contextlib.suppress(ValueError):  # what it follows is no length, and told so
                _place(tables, key, _value(key, _offered(key, tables, talk), tables))
    return tables


def _offered(key: str, tables: Mapping[str, Any], talk: Talk) -> str:
    answers = dict(talk.answers)
    if key == KIND:
        return KINDS[0]
    if key == COUNT:
        return str(len(tables["strings"]))
    if key == GAUGES:
        return string_sets.shown(tables["strings"])
    typical = _typical(_kind(talk))
    leader = _FOLLOWS.get(key)
    if leader in answers:
        off = parse_length(answers[leader]) - parse_length(str(_at(typical, leader)))
        return ", ".join(_shifted(was, off) for was in _shown(_at(typical, key)).split(", "))
    return _shown(_at(tables, key))


def _shifted(length: str, by: float) -> str:
    """A length so much longer, in millimetres."""
    return f"{parse_length(length) + by:.2f}".rstrip("0").rstrip(".") + " mm"


@cache
def _typical(kind: str) -> dict[str, Any]:
    return starter.values(kind)  # only to look at


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(str(v) for k, v in value.items() if k != "number")
    return str(value)


def _steps(key: str) -> list[str | int]:
    """The way to a key; strings stand from the bass side, their last number first."""
    if key.startswith("strings["):
        return ["strings", -int(key[8:-1])]
    return [*key.split(".")]


def _at(tables: Mapping[str, Any], key: str) -> Any:
    here: Any = tables
    for step in _steps(key):
        here = here[step]
    return here


def _place(tables: dict[str, Any], key: str, value: object) -> None:
    if key == COUNT:
        tables[COUNT] = _counted(tables[COUNT], value)
        return
    if key == GAUGES:
        tables[COUNT] = value or tables[COUNT]
        return
    *way, last = _steps(key)
    here: Any = tables
    for step in way:
        here = here[step]
    here[last] = value


def _counted(strings: list[dict[str, Any]], count: object) -> list[dict[str, Any]]:
    """As many strings as there are; those over the typical count are like the last."""
    if not isinstance(count, int):
        return strings
    more = [dict(strings[-1]) for _ in range(min(count, 100) - len(strings))]
    kept = [*strings[: max(count, 0)], *more]
    return [{**string, "number": len(kept) - i} for i, string in enumerate(kept)]


def _value(key: str, said: str, tables: Mapping[str, Any]) -> Any:
    """An answer as its TOML value; what can't be one stays text, for the job's rules to refuse."""
    if key == GAUGES:
        return (
            None
            if said == EACH
            else string_sets.strings_of(said, tables[COUNT], str(tables["instrument"]["kind"]))
        )
    parts = [p.strip() for p in said.split(",")]
    if key in {COUNT, "board.body_fret"}:
        return _whole(said)
    if key.startswith("strings["):
        return _string(parts, int(key[8:-1]))
    if key in _MANY | _ENDS and len(parts) == 2:
        return {"bass": parts[0], "treble": parts[1]}
    if key in _MANY and len(parts) > 2:
        return {str(len(parts) - i): part for i, part in enumerate(parts)}
    if key == "board.radius" and len(parts) == 3:
        return dict(zip(("nut", "end", "end_at"), parts, strict=True))
    return said


def _whole(said: str) -> int | str:
    return int(said) if re.fullmatch("[0-9]{1,4}", said) else said


def _string(parts: list[str], number: int) -> dict[str, Any]:
    if len(parts) not in (3, 4):
        return {}
    string: dict[str, Any] = {"number": number}
    string |= zip(("note", "gauge", "make"), parts, strict=False)
    if len(parts) == 4:
        string["course"] = _whole(parts[3])
    return string


def _judge(talk: Talk) -> None:
    """Raise InputError with the faults of what has been answered; what is to come may still be
    wrong.
    """
    key, said = talk.answers[-1]
    if key == KIND and said not in KINDS:
        wrong = "is not a kind"
        raise InputError(Fault(where="", found=said, wrong=wrong, fix=f"one of {', '.join(KINDS)}"))
    count = _whole(said)
    if key == COUNT and (isinstance(count, str) or not 2 <= count <= 24):
        wrong = "is not a count of strings"
        raise InputError(Fault(where="", found=said, wrong=wrong, fix="2 to 24"))
    tables = _tables(talk)
    if key == GAUGES and said != EACH and not _value(key, said, tables):
        fix = f"write {_offered(key, tables, Talk())}, or {EACH}"
        raise InputError(Fault(where="", found=said, wrong="is not a set of strings", fix=fix))
    if key.startswith("strings[") and not _at(tables, key):
        fix = f"write {_STRING}, as E2, 0.053 in, wound steel"
        raise InputError(Fault(where="", found=said, wrong="is not a string", fix=fix))
    try:
        job_file.from_tables(*job_file.fill(tables), "", {})
    except InputError as fault:
        due = tuple(k for k, _ in talk.answers)
        ours = [f for f in fault.faults if _is_of(f.key, due)]
        # the last answer first: it is the one that can be fixed now
        ours.sort(key=lambda f: not _is_of(f.key, (key,)))
        if ours:
            raise InputError(ours) from None


def _is_of(key: str, answered: Collection[str]) -> bool:
    if GAUGES in answered and key.startswith("strings["):
        return True
    return any(key == a or (a != COUNT and key.startswith((f"{a}.", f"{a}["))) for a in answered)


def _told(fault: Fault) -> str:
    return str(dataclasses.replace(fault, where="", line=None)).removeprefix(": ")
