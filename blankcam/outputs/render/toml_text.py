"""Tables as TOML: what a TOML reader gives back is what was given."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


def render(tables: Mapping[str, Any], sections: tuple[str, ...] = ()) -> str:
    """The text; keys in ``sections`` become tables of their own, other tables stand in a line.

    Lists of tables at the top become arrays of tables.
    """
    return "\n".join(_lines(tables, sections)) + "\n"


def _lines(tables: Mapping[str, Any], sections: tuple[str, ...]) -> Iterator[str]:
    apart = {k: v for k, v in tables.items() if k in sections or _is_tables(v)}
    yield from (f"{_key(k)} = {_value(v)}" for k, v in tables.items() if k not in apart)
    for key, value in apart.items():
        head = f"[{_key(key)}]" if isinstance(value, Mapping) else f"[[{_key(key)}]]"
        for table in [value] if isinstance(value, Mapping) else value:
            yield from ("", head)
            yield from (f"{_key(k)} = {_value(v)}" for k, v in table.items())


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else text(key)


def text(value: str) -> str:
    """A text in quotation marks, nothing in it acting on the file."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: object) -> str:
    if isinstance(value, str):
        return text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return repr(value)
