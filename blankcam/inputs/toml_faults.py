"""Why a text is not TOML, told so that a maker who never heard of TOML can mend the line."""

from __future__ import annotations

import re

from blankcam.faults import Fault

_PLACE = re.compile(r"^(.*?) \(at (?:line (\d+), column \d+|end of document)\)$", re.DOTALL)
_WAYS = 'write key = "value", such as seat_width = "6.05 mm"'

# What a line looks like, and what would do; the first that fits. All our own.
_SLIPS = (
    (r"[\u201c-\u201f\u2018-\u201b\u00ab\u00bb]", 'write straight quotes, "6.05 mm"'),
    (r"=\s*[-+]?\d+,\d+\s*([a-z,}#]|$)", "write a point in a number, not a comma"),
    (r"=\s*[-+]?[\d.]+\s*%", "write a share as a bare number, 0.5 for half"),
    (r"=\s*[-+]?[\d.][\d. /]*\s*[a-z]", 'put a length in quotes, "6.05 mm"'),
    (r"\d\"\"|\d\"[^\",]*\"\s*$", 'an inch sign ends the text: write "14 in"'),
    (r"=\s*[a-z]", 'put words in quotes, "bone"'),
    (r"^\s*[^=:]+:", "write = between a key and its value, not :"),
    (r"=\s*\{[^}]*$", "keep a table in braces on one line"),
    (r",\s*\}", "leave out the last comma"),
    (r"=\s*[-+]?\.\d", "begin a number with a digit, such as 0.5"),
    (r"=\s*(#.*)?$", "write a value behind the =, or a # before the key"),
    (r"^\s*\[", "close what is in square brackets, such as [nut] or [[strings]]"),
    (r"^[^\"']*(\"[^\"]*|'[^']*)$", "close the text with the quote it begins with"),
)


def syntax_fault(text: str, path: str, error: Exception) -> Fault:
    """The fault of a text that the library refuses: its line, what stands there, what would do."""
    said = _PLACE.match(str(error))
    if said is None:
        return Fault(where=path, wrong=f"is not TOML: {error}")
    line = int(said[2]) if said[2] else None
    found = text.split("\n")[line - 1].strip() if line else None
    twice = "overwrite" in said[1] or "twice" in said[1]
    why = "this key or table is there twice" if twice else f"{said[1][:1].lower()}{said[1][1:]}"
    wrong = f"is not TOML: {why}"
    return Fault(where=path, line=line, found=found, wrong=wrong, fix=_fix(said[1], found or ""))


def _fix(said: str, line: str) -> str:
    if "overwrite" in said or "twice" in said:
        return "keep one of the two"
    for slip, fix in _SLIPS:
        if re.search(slip, line, re.IGNORECASE):
            return fix
    return _WAYS
