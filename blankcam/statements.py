"""What a program states in its comments for the operator to act on: its header and its stops.

The header's statements are the comments before the first code that begin with one of the words
below, each running on over as many comments as it needs. A stop's text is what stands in comments
right before its M0, or on its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

COMMENT = re.compile(r"\([^()]*\)|;.*")
LINE_END = re.compile("\r\n|\r|\n")
SIGNED = (
    "makes",
    "probes",
    "job",
    "machine",
    "material",
    "stock",
    "zero",
    "place",
    "hold",
    "tool",
    "step",
)
"""Words that begin a statement which the operator acts on."""
OTHERS = ("job digest", "file", "time", "moves digest", "readings digest", "air")
"""Words that begin any other."""
NUMBERED = ("tool", "place", "step")
"""Of those, words that a number follows."""
_WORDS = "|".join(word.replace(" ", r"\s*") for word in (*OTHERS, *SIGNED))
_BEGINS = re.compile(rf"(?:- ?)?({_WORDS})", re.IGNORECASE)  # gcode/comments: "- probes"
_NUMBER = re.compile(r"\s*(\d+)")
_STOP = re.compile(r"(?:^|[A-Z0-9.\s])M0+(?![\d.])", re.IGNORECASE)


def read_statements(program: str) -> dict[str, str]:
    """The statements of a program's text by name: ``zero``, ``tool 2``, ``place 1``, ``stop 1``.

    Anything at all may stand in the text. Two statements of one name that differ are one of both
    texts: nobody knows which of them the operator will follow.
    """
    head: list[str] = []
    stops: list[str] = []
    said: list[str] = []
    in_head = True
    for line in LINE_END.split(program.removeprefix("\ufeff")):
        comments = [c.strip("();: \t") for c in COMMENT.findall(line)] if _marked(line) else []
        code = COMMENT.sub("", line).strip() if comments else line.strip()
        if code and code != "%":
            in_head = False
        if in_head:
            head += comments
        elif code and _STOP.search(code):
            stops.append(" ".join((*said, *comments)))
        if code:
            said = []
        else:
            said += comments
    found: dict[str, str] = {}
    for name, text in _named(head):
        told = found.get(name, text)
        found[name] = told if squeezed(told) == squeezed(text) else f"{told} and {text}"
    return found | {f"stop {n}": text for n, text in enumerate(stops, start=1)}


def _marked(line: str) -> bool:
    return "(" in line or ";" in line


def _named(head: list[str]) -> Iterator[tuple[str, str]]:
    """Name and text of each signed statement of a header's comments."""
    name, text = "", [""]
    for comment in head:
        begins = _BEGINS.match(comment)
        word = begins[1].lower() if begins else ""
        if begins is None:
            text.append(comment)
            continue
        if name:
            yield name, " ".join(text)
        rest = comment[begins.end() :].lstrip(": ")
        number = _NUMBER.match(rest) if word in NUMBERED else None
        name = f"{word} {int(number[1])}" if number else word
        name, text = (name if word in SIGNED else ""), [rest]
    if name:
        yield name, " ".join(text)


def squeezed(text: str) -> str:
    """A statement as it is compared: no spaces, no colons, small letters."""
    return re.sub(r"[\s:]+", "", text).lower()


def differences(
    given: Mapping[str, str], today: Mapping[str, str], names: tuple[str, ...]
) -> Iterator[tuple[str, str, str]]:
    """Name, text given and text as it would be today of each statement that differs.

    Only statements whose names begin with one of ``names``; one that is missing is an empty text.
    """
    for name in dict.fromkeys((*today, *given)):
        one, other = given.get(name, ""), today.get(name, "")
        if name.split()[0] in names and squeezed(one) != squeezed(other):
            yield name, one, other
