"""Programs and lists read as plain text by someone at the bench: lengths, surfaces, numbers to set.

Nothing of blankcam is imported here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

INCH = 25.4
NUMBER = r"-?\d+(?:\.\d+)?"
LENGTH = rf"{NUMBER}(?: mm| in)?(?: \({NUMBER}(?: mm)?\))?"
SURFACE = r"(?:the|its) [a-z][a-z ]*?"
TOUCH_Z = re.compile(rf"[Tt]ouch off on (?P<on>{SURFACE}) and set Z to (?P<to>{LENGTH})")
SET_SIDE = re.compile(
    r"Set (?P<axis>[XY])(?: to (?P<to>[^,.]*?(?:\.\d+[^,.]*?)?))?(?P<same> likewise)? "
    rf"against (?P<on>{SURFACE})(?=[,.])"
    rf"(?:, or to (?P<tool_to>{LENGTH})"
    rf"(?: with the side of T(?P<tool>\d+), its tip at Z (?P<tip>{LENGTH}) and paper of (?P<paper>{LENGTH}) "
    r"between| with T\d+ likewise))?"
)


class StuckError(AssertionError):
    """The list can't be followed, or what it asks for would go wrong."""


def need(true: object, words: str) -> None:
    """Stop the walk with what is wrong."""
    if not true:
        raise StuckError(words)


@dataclass(kw_only=True)
class Stated:
    """What a program's own header says, read from its text; mm."""

    name: str
    air: bool
    inch: bool
    zeros: dict[str, tuple[str, float]]
    """By axis: surface, and where it stands on that axis."""
    sides: dict[str, float]
    """By axis: what to set with a tool's side against the surface."""
    tip: float | None
    touch: int | None
    stock: dict[str, tuple[float, float]]
    hold: str
    tools: list[tuple[int, str, float, float]]
    """Number, shape, size, stick-out."""
    called: list[int]
    """Tools that its lines call for, in order."""
    fetched: bool
    with_length: bool
    operations: list[str]
    lowest: float
    """Of all that it cuts or passes at feed, Z."""


def stated(path: Path) -> Stated:
    """A program read as text."""
    lines = path.read_text(encoding="ascii").splitlines()
    comments = [re.sub(r"^[(;] ?|\)$", "", s) for s in lines if s.startswith(("(", ";"))]
    codes = [re.sub(r"\([^)]*\)|;.*", "", s).strip() for s in lines]
    inch = any(re.match(r"(?:N\d+ )?G20\b", s) for s in codes)
    head = " ".join(comments)
    stock = re.search(r"\bstock:? (?P<box>x.*?) zero:? (?P<zero>.*?) hold", head)
    need(stock, f"{path.name} does not say what stands of the blank, and how it is zeroed")
    sides = {a: (mm(low, inch), mm(high, inch))
             for a, low, high in re.findall(rf"([xyz]) ({LENGTH}) to ({LENGTH})", stock["box"])}  # fmt: skip
    zeros, with_tool, touch, tip = zeros_in(stock["zero"], inch)
    hold = re.search(r"\bhold:? (.*?) tool \d", head)
    tools = [
        (int(n), shape, mm(tip or size, inch), mm(out, inch))
        for n, shape, size, tip, out in re.findall(
            rf"\btool:? (\d+):? ([a-z]+(?: [a-z]+)?) ({LENGTH})(?:, tip ({LENGTH}), {NUMBER} deg)?"
            rf"(?:, cuts {LENGTH})?, \d flutes, stick-out ({LENGTH})",
            " ".join(head.partition(" time")[:1]),
        )
    ]
    operations = [m[1] for c in comments
                  if (m := re.match(r"(outline|thickness|top|clear|slots|ends|crown|front)\b", c))]  # fmt: skip
    return Stated(
        name=path.name, air=" air run it" in f" {head}".replace(":", ""), inch=inch, zeros=zeros,
        sides=with_tool, tip=tip, touch=touch, stock=sides, hold=hold[1] if hold else "",
        tools=tools, called=[int(n) for s in codes for n in re.findall(r"\bT(\d+)", s)],
        fetched=any("M6" in s for s in codes), with_length=any("G43 " in s for s in codes),
        operations=operations, lowest=_lowest(codes, inch),
    )  # fmt: skip


def _lowest(codes: list[str], inch: bool) -> float:
    """The lowest Z at feed; a cut's own ends, which no arc of a part dips far under."""
    motion, z, low = 0, float("inf"), float("inf")
    for line in codes:
        if "G53" in line:
            continue
        if found := re.search(r"\bG0?([0123])\b", line):
            motion = int(found[1])
        if found := re.search(rf"Z({NUMBER})", line):
            z = mm(found[1], inch)
        if motion and re.search(r"[XYZ]", line):
            low = min(low, z)
    return low


def mm(text: str, inch: bool = False) -> float:
    """A length as it is written; ``inch``: in what a bare number is."""
    written, first = re.match(NUMBER, text)[0], text.split("(", maxsplit=1)[0]
    in_inches = " in" in first or (inch and " mm" not in first)
    value = float(written) * (INCH if in_inches else 1)
    if bracket := re.search(rf"\(({NUMBER})( mm)?\)", text):
        unit = 1 if bracket[2] else INCH
        steps = _step(written) * (INCH if in_inches else 1) + _step(bracket[1]) * unit
        need(abs(value - float(bracket[1]) * unit) <= 0.51 * steps, f"{text!r} are two lengths")
    return value


def _step(written: str) -> float:
    """Of its last digit."""
    return 10.0 ** -len(written.partition(".")[2])


def zeros_in(
    text: str, inch: bool
) -> tuple[dict[str, tuple[str, float]], dict[str, float], int | None, float | None]:
    """Surfaces and their places by axis, and what a tool's side is set to: number and tip too."""
    zeros: dict[str, tuple[str, float]] = {}
    sides: dict[str, float] = {}
    touch, tip = None, None
    if z := TOUCH_Z.search(text):
        zeros["Z"] = (z["on"], mm(z["to"], inch))
    before: re.Match[str] | None = None
    for found in SET_SIDE.finditer(text):
        told = before if found["same"] and before else found
        less = re.match(rf"({LENGTH}) less|minus", told["to"] or "")
        need(less, f"no number to set {found['axis']} to in {found[0]!r}")
        zeros[found["axis"]] = (found["on"], mm(less[1], inch) if less[1] else 0.0)
        with_tool = found["tool_to"] or (told["tool_to"] if found["same"] else None)
        if with_tool:
            sides[found["axis"]] = mm(with_tool, inch)
        if found["tool"]:
            touch, tip = int(found["tool"]), mm(found["tip"], inch)
        before = told
    return zeros, sides, touch, tip
