"""Where in a TOML file a key stands: the library that parses it does not say."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Line number by key path; tables count too. A path that is not found is simply missing.

    Keys inside inline tables and arrays are not listed: ``line_of`` falls back to their parent.
    """
    lines: dict[Path, int] = {}
    table: Path = ()
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
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


def line_of(lines: dict[Path, int], path: Path) -> int | None:
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
