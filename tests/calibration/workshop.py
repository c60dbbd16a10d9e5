"""A workshop: a machine with errors cuts the test piece, is measured, and cuts a nut."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from pathlib import Path

from blankcam.inputs import job_file
from blankcam.inputs.machine import Profile
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage
from blankcam.workflows import coupon, request
from blankcam.workflows.cut_part import write_part
from tests.calibration import simulated
from tests.calibration.simulated import Caliper, Cut, Machine, SlotSize

JOB = Path(__file__).parents[2] / "demo_jobs" / "concert-steel.toml"
ROW = re.compile(r"^\| `(\w+)\.(\w+)` \| (.*?) \|.*?\| ([ |-]*)\|$")
TOOL = re.compile(r"tool (\d+), ([xy]) ([\d.]+) to ([\d.]+)")


@dataclass
class Asked:
    """One row of coupon.md as a maker reads it."""

    table: str
    name: str
    tool: int
    axis: int
    low: float
    high: float
    times: int


@dataclass
class Piece:
    """The test piece's papers and programs."""

    folder: Path
    rows: list[Asked]
    programs: list[str]
    tools: dict[int, simulated.Tool]
    length: float
    height: float

    @classmethod
    def written(cls, folder: Path, machine: str) -> Piece:
        """As the installed command wrote them."""
        rows = []
        for line in (folder / "coupon.md").read_text().splitlines():
            if not (found := ROW.match(line)):
                continue
            at = TOOL.search(found[3])
            tool, axis, low, high = at.groups() if at else ("0", "x", "0", "0")
            times = 3 - found[4].count("-")
            rows.append(Asked(found[1], found[2], int(tool), "xy".index(axis), float(low),
                              float(high), times))  # fmt: skip
        programs = [p.read_text() for p in sorted(folder.glob("*.ngc"))]
        paper = (folder / "coupon.md").read_text()
        sizes = [float(re.search(rf"([\d.]+) \(\S+\) {w}", paper)[1]) for w in ("long", "thick")]
        return cls(folder, rows, programs, sold(read_profile(machine)), *sizes)

    def readings(self, machine: Machine, dice: random.Random) -> dict[str, dict[str, list[float]]]:
        """What a caliper says of the piece that a machine has cut."""
        cuts = [c for text in self.programs for c in simulated.cuts_of(text, machine, dice)]
        caliper, read = Caliper(dice), {"piece": {}, "lands": {}, "steps": {}}
        for row in self.rows:
            read[row.table][row.name] = caliper.read(self.size(row, cuts, machine), row.times)
        return read

    def size(self, row: Asked, cuts: list[Cut], machine: Machine) -> float:
        """What is really there."""
        if row.table == "piece":
            return self.height
        tool = self.tools[row.tool]
        if row.table == "steps":
            return simulated.step_height(cuts, tool, (row.low, row.high), 1.0)
        reach = (5.0, 7.0) if row.axis == 0 else (self.length - 5.0, self.length - 2.0)
        middle = (row.low + row.high) / 2
        return simulated.land_width(cuts, machine, tool, row.axis, middle, self.height - 0.5, reach,
                                    between=(row.low, row.high))  # fmt: skip


def sold(profile: Profile) -> dict[int, simulated.Tool]:
    """The tools as they are sold."""
    shapes = {Shape.FLAT: "flat", Shape.BALL: "ball"}
    return {
        t.number: simulated.Tool(t.number, shapes.get(t.shape, "other"), t.label)
        for t in profile.tools
    }


def coupon_text(read: dict[str, dict[str, list[float]]], extra: str = "") -> str:
    """coupon.toml as a maker fills it in."""
    lines = ['measured = "2026-03-21"', extra]
    for table, each in read.items():
        lines.append(f"[{table}]")
        for name, values in each.items():
            texts = ", ".join(f'"{v:.2f} mm"' for v in values)
            lines.append(f"{name} = [{texts}]")
    return "\n".join(lines) + "\n"


def measured_profile(machine: str, text: str, folder: Path) -> Profile:
    """The profile that the readings give."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "read.toml").write_text(text)
    coupon.measured(machine, str(folder / "read.toml"), str(folder / "out"), force=True)
    return read_profile(str(next((folder / "out").glob("*-measured.toml"))))


@dataclass
class Nut:
    """A nut's job, to be cut on any machine."""

    job: job_file.Job
    found: Design

    @classmethod
    def demo(cls) -> Nut:
        """The demo job's, finished."""
        job = job_file.load(str(JOB))
        return cls(job, design(job))

    def programs(self, machine: str) -> tuple[list[str], dict[int, int]]:
        """The programs for a machine, and the tool of each string's slot."""
        profile = request.machine_of(self.job, machine)
        made = write_part(request.request_of(self.found, "nut", profile, Stage.FINAL))
        tools = {d.string: d.tool.number for d in made.slots if d.tool is not None}
        return [f.text for f in made.programs if f.setup == "edge"], tools

    def slots(
        self,
        programs: list[str],
        by: dict[int, int],
        machine: Machine,
        tools: dict[int, simulated.Tool],
        dice: random.Random,
    ) -> dict[int, SlotSize]:
        """The slots as a machine cuts them, by string."""
        cuts = [c for text in programs for c in simulated.cuts_of(text, machine, dice)]
        return {
            s.string: simulated.slot_as_cut(
                cuts, machine, tools[by[s.string]], s.centre, min(s.radius, 0.9 * s.depth_front)
            )
            for s in self.found.nut.slots
            if s.string in by
        }
