"""Someone at the bench with a test piece's list alone: cut it, measure it, fill the file in."""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass

from tests.newcomer.programs_read import LENGTH, NUMBER, Stated, mm, need, stated
from tests.newcomer.walk import EXACT, NEAR, Walk, has_its_measure

ROW = re.compile(rf"^\| `([\w.]+)` \| ([^|]+) \| ({NUMBER}) \({NUMBER}\) \|(.*)\|$", re.MULTILINE)
TO_FILL = "coupon.toml"
CLEAR = 2.0
"""mm that no tool comes nearer to the mark: a feeler or a strip of paper lies there."""


@dataclass
class CouponWalk(Walk):
    """A test piece's list, followed from the saw to the command that takes the readings."""

    paper: str = "coupon.md"
    mark: tuple[float, float] = (math.nan, math.nan)

    def _begin(self, title: str) -> bool:
        if title == "Cut it":
            self._take("coupon", "coupon")
        return False

    def _section(self, section: str) -> None:
        title = section.split("\n", 1)[0]
        if title == "Cut it":
            super()._section(section)
            need(self.machine.held == "", "the piece is never taken out")
        elif title == "Measure it":
            self._measure(section)
        elif title == "Then":
            need(f"--measured {TO_FILL}" in section, f"does not say what becomes of {TO_FILL}")

    def _step(self, step: str) -> None:
        bare = step.replace("**", "")
        if bare.startswith("Saw"):
            self._saw(bare)
        elif bare.startswith("Hold it"):
            self._hold(bare)
        elif bare.startswith("Mark"):
            self._mark(bare)
        elif bare.startswith("Zero,"):
            self.machine.dry_by = 0.0
            self._zero(bare.partition("Zero, ")[2])
            self._as_it_will_be_used(bare)
        elif bare.startswith("Take it out"):
            need("stands still" in bare, "reaches for a piece under a turning spindle")
            self.machine.freed()
        else:
            super()._step(step)

    def _seen_done(self, step: str, section: str, *, on_a_part: bool) -> None:
        del on_a_part  # taken out, it is measured by another section
        if not step.startswith("**Take it out"):
            has_its_measure(step, section, on_a_part=True)

    def _saw(self, step: str) -> None:
        size = re.search(
            rf"({LENGTH}) long and no longer, ({LENGTH}) wide, at least ({LENGTH}) thick", step
        )
        need(size, "does not say how large the piece is")
        file = self._first_file()
        for axis, length in zip("xyz", size.groups(), strict=True):
            theirs = file.stock[axis]
            need(abs(mm(length) - theirs[1]) <= NEAR and theirs[0] == 0.0,
                 f"the piece is {length} along {axis.upper()}; {file.name} says {theirs}")  # fmt: skip

    def _hold(self, step: str) -> None:
        said = re.search(rf"jaws at most ({LENGTH}) over what it stands on, "
                         rf"and at least ({LENGTH}) of it above them", step)  # fmt: skip
        need(said, "does not say how high the jaws may stand")
        high, above = map(mm, said.groups())
        file = self._first_file()
        need(abs(high + above - file.stock["z"][1]) <= NEAR, f"{said[0]}, of {file.stock['z']}")
        theirs = re.search(rf"jaws at most ({LENGTH}) over what it stands on", file.hold)
        need(theirs and abs(mm(theirs[1], file.inch) - high) <= NEAR, f"{said[0]}; {file.hold}")
        for each in self._cutting_files():
            need(each.lowest > high, f"{each.name} goes down to the jaws")
        self.machine.freed()
        self.machine.held = step

    def _mark(self, step: str) -> None:
        at = re.search(rf"({LENGTH}) from the left end and ({LENGTH}) from the front edge", step)
        need(at, "does not say where the mark is")
        self.mark = (mm(at[1]), mm(at[2]))
        for file in self._cutting_files():
            near = self._nearest_cut(file) - CLEAR
            need(near > 0, f"{file.name} cuts where every tool is touched off")

    def _nearest_cut(self, file: Stated) -> float:
        """How near a tool's side comes to the mark, under the top."""
        sizes = {number: size for number, _, size, _ in file.tools}
        here, tool, near = [math.nan] * 3, file.called[0], math.inf
        for line in (self.folder / file.name).read_text(encoding="ascii").splitlines():
            code = re.sub(r"\([^)]*\)|;.*", "", line)
            if found := re.search(r"\bT(\d+)", code):
                tool = int(found[1])
            to = [mm(f[1], file.inch) if (f := re.search(rf"{a}({NUMBER})", code)) else v
                  for a, v in zip("XYZ", here, strict=True)]  # fmt: skip
            if "G53" not in code and to != here:
                if to[2] < file.stock["z"][1]:
                    off = _from_segment(self.mark, here[:2], to[:2])
                    near = min(near, off - sizes[tool] / 2)
                here = to
        return near

    def _as_it_will_be_used(self, step: str) -> None:
        """Z from above and X and Y on the way up: else the backlash goes into the readings."""
        need("with rising coordinates" in step, "does not say from which side X and Y are come to")
        need("Z from above" in step, "does not say from where Z is come to")

    def _cutting_files(self) -> list[Stated]:
        return [stated(path) for path in self._cutting()]

    def _toward_you(self, held: str, zeros: dict[str, tuple[str, float]]) -> None:
        need("its front edge toward you" in held, "does not say which edge is toward you")
        need("Y" in zeros, "X or Y is never zeroed")
        need(zeros["Y"][0] == "its front edge", f"Y is touched on {zeros['Y'][0]}, away from you")

    def _held_as_said(self, file: Stated) -> None:
        need(self.machine.held, f"{file.name} is run and the piece not held")

    # -- measured

    def _measure(self, section: str) -> None:
        """Each thing to measure has its line in the file to fill in, and each line its thing."""
        text = (self.folder / TO_FILL).read_text(encoding="utf-8")
        lines = re.sub(r"^# (?=(?:measured|caliper|\w+) = )", "", text, flags=re.MULTILINE)
        tables = tomllib.loads(lines)
        there = {f"{t}.{k}": v for t in ("piece", "lands", "steps") for k, v in tables[t].items()}
        asked = {
            key: (where, float(drawn), cells) for key, where, drawn, cells in ROW.findall(section)
        }
        need(asked, "has no table of what to measure")
        need(asked.keys() == there.keys(), f"{TO_FILL} and the table differ: "
                                           f"{sorted(asked.keys() ^ there.keys())}")  # fmt: skip
        for key, (where, drawn, cells) in asked.items():
            told = re.search(rf"^# {key.split('.')[1]} = .*?# (.*): about ({NUMBER}) mm$",
                             text.split(f"[{key.split('.')[0]}]")[1], re.MULTILINE)  # fmt: skip
            need(told and told[1] == where, f"{key}: the table says {where}; {TO_FILL} {told}")
            need(abs(float(told[2]) - drawn) <= EXACT, f"{key}: {drawn:g}; {TO_FILL} {told[2]}")
            times = cells.count("|") + 1 - cells.count("-")
            need(times == len(there[key]), f"{key} is read {times} times; {TO_FILL}: {there[key]}")
            if tool := re.search(r"tool (\d+)", where):
                cut_by = {t for n in self.ran for t in self._called(n)}
                need(int(tool[1]) in cut_by, f"{key} is of T{tool[1]}, which cut nothing")

    def _called(self, name: str) -> list[int]:
        return next((f.called for f in self._cutting_files() if f.name == name), [])


def _from_segment(p: tuple[float, float], a: list[float], b: list[float]) -> float:
    """Distance of a point from a straight line between two others; its end's where one is open."""
    if any(map(math.isnan, a)):
        return math.dist(p, b)
    along = (b[0] - a[0], b[1] - a[1])
    long = along[0] ** 2 + along[1] ** 2
    share = (
        0.0 if long == 0 else sum((q - s) * d for q, s, d in zip(p, a, along, strict=True)) / long
    )
    share = min(max(share, 0.0), 1.0)
    return math.dist(p, (a[0] + share * along[0], a[1] + share * along[1]))
