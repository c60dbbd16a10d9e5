"""A job file to begin with: every key, typical for a kind, with how it is measured."""

from __future__ import annotations

import textwrap
from typing import Any

from blankcam.data import table
from blankcam.faults import Fault, InputError
from blankcam.job.job import KINDS

_WIDTH = 96


def text(kind: str) -> str:
    """The commented job file of a kind.

    Raises
    ------
    InputError
        When there is no such kind.
    """
    if kind not in KINDS:
        raise InputError(
            Fault(where="--like", found=kind, wrong="no such kind", mend=", ".join(KINDS))
        )
    values = _values(kind)
    lines = [
        "# A job for blankcam. Every value below is only typical for its kind: measure your own",
        "# instrument and write what you found. A length is a number with its unit: 43.5 mm,",
        "# 1 11/16 in, 0.024 in. What a job leaves out is assumed, and the layout says so.",
    ]
    for name in ("instrument", "board"):
        lines += _table(name, values[name])
    for string in values["strings"]:
        lines += ["", "[[strings]]", *(f"{k} = {_value(v)}" for k, v in string.items())]
        if string is values["strings"][0]:
            lines[-len(string) - 2 : -len(string) - 2] = ["", *_strings_words(string)]
    for name in ("nut", "saddle", "blanks", "plan"):
        lines += _table(name, values[name])
    return "\n".join(lines) + "\n"


def _values(kind: str) -> dict[str, Any]:
    typical, common = table("typical")[kind], table("typical")["any"]
    values: dict[str, Any] = {"strings": typical["strings"]}
    for name in ("instrument", "board", "nut", "saddle", "blanks", "plan"):
        both = common.get(name, {}) | typical.get(name, {})
        values[name] = {k: both[k] for k in table("keys")[name] if k in both}
    names = {"name": f"my {kind}", "kind": kind}
    values["instrument"] = names | values["instrument"]
    courses = any("course" in s for s in typical["strings"])
    if not courses:
        for name in ("nut", "saddle"):
            values[name].pop("course_gap", None)
    return values


def _table(name: str, values: dict[str, Any]) -> list[str]:
    words = table("keys")[name]
    lines = ["", f"[{name}]"]
    for key, value in values.items():
        lines += textwrap.wrap(words[key], _WIDTH, initial_indent="# ", subsequent_indent="# ")
        lines.append(f"{key} = {_value(value)}")
    return lines


def _strings_words(string: dict[str, Any]) -> list[str]:
    return [f"# {key}: {table('keys')['strings'][key]}" for key in string]


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    return f'"{value}"' if isinstance(value, str) else str(value)
