"""A job file to begin with: every key, typical for a kind, with how it is measured."""

from __future__ import annotations

import copy
import json
import textwrap
from collections.abc import Collection, Mapping
from typing import Any

from blankcam.data import table
from blankcam.faults import Fault, InputError
from blankcam.inputs.job import KINDS
from blankcam.inputs.job_file import MEASURED

_WIDTH = 96


def text(kind: str) -> str:
    """The commented job file of a kind.

    Raises
    ------
    InputError
        When there is no such kind.
    """
    known(kind)
    return written(
        values(kind),
        "Every value below is only typical for its kind. What must be measured on your instrument "
        "stands behind a #: measure it, write what you found, and take the # away; until then it "
        "is assumed.",
        unmeasured=MEASURED,
    )


def known(kind: str) -> None:
    """Raise InputError where there is no such kind."""
    if kind not in KINDS:
        raise InputError(
            Fault(where="--like", found=kind, wrong="no such kind", fix=", ".join(KINDS))
        )


def written(tables: Mapping[str, Any], words: str, *, unmeasured: Collection[str] = ()) -> str:
    """Tables as a job file, each key with how it is measured, ``words`` at its head.

    Parameters
    ----------
    tables : as ``values`` gives them
    words : what to say of them
    unmeasured : key paths to be written as comments, since nobody has measured them yet
    """
    head = (
        f"A job for blankcam. {words} A length is a number with its unit: 43.5 mm, 1 11/16 in, "
        "0.024 in. What a job leaves out is assumed, and the layout says so."
    )
    lines = _comment(head)
    for name in ("instrument", "board"):
        lines += _table(name, tables[name], unmeasured)
    for string in tables["strings"]:
        lines += ["", "[[strings]]", *(f"{k} = {_value(v)}" for k, v in string.items())]
        if string is tables["strings"][0]:
            lines[-len(string) - 2 : -len(string) - 2] = ["", *_strings_words(string)]
    for name in ("nut", "saddle", "blanks", "plan"):
        lines += _table(name, tables[name], unmeasured)
    return "\n".join(lines) + "\n"


def values(kind: str) -> dict[str, Any]:
    """The tables typical for a kind, keys in the order of a job file; a caller may change them."""
    typical, common = table("typical")[kind], table("typical")["any"]
    tables: dict[str, Any] = {"strings": [dict(s) for s in typical["strings"]]}
    for name in ("instrument", "board", "nut", "saddle", "blanks", "plan"):
        both = common.get(name, {}) | typical.get(name, {})
        tables[name] = copy.deepcopy({k: both[k] for k in table("keys")[name] if k in both})
    names = {"name": f"my {kind}", "kind": kind}
    tables["instrument"] = names | tables["instrument"]
    courses = any("course" in s for s in typical["strings"])
    if not courses:
        for name in ("nut", "saddle"):
            tables[name].pop("course_gap", None)
    return tables


def _table(name: str, values: dict[str, Any], unmeasured: Collection[str]) -> list[str]:
    words = table("keys")[name]
    lines = ["", f"[{name}]"]
    for key, value in values.items():
        line = f"{key} = {_value(value)}"
        path = f"{name}.{key}"
        if not any(k == path or k.startswith(f"{path}.") for k in unmeasured):
            lines += [*_comment(words[key]), line]
        elif len(line) + len(words[key]) > _WIDTH:
            lines += [*_comment(words[key]), f"# {line}"]
        else:
            lines.append(f"# {line}   # {words[key]}")
    return lines


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, _WIDTH, initial_indent="# ", subsequent_indent="# ")


def _strings_words(string: dict[str, Any]) -> list[str]:
    return [f"# {key}: {table('keys')['strings'][key]}" for key in string]


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return quoted(value) if isinstance(value, str) else str(value)


def quoted(text: str) -> str:
    """Text as a TOML string; its escapes are JSON's and one more."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
