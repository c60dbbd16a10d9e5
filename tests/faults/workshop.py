"""The invented workshop's programs, made once a session, and how to prove them damaged."""

import dataclasses
from dataclasses import dataclass
from functools import cache

from blankcam.inputs import job_file as job_reader
from blankcam.parts.design import design
from blankcam.parts.frames import Box, Setup
from blankcam.parts.stage import Stage
from blankcam.replay.proof import ProgramText
from blankcam.replay.prove import prove
from blankcam.replay.reader import read_program
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS
from tests.proved import box_in_frame, files_of, plan_of

MACHINES = ("bench-mill", "light-router")
STEP = 0.1
"""Coarser than the proof's own cells: heights are exact at each, and slots and ends have probes."""


def in_air(name):
    return name.endswith("-air.ngc")


@dataclass(frozen=True)
class Case:
    """A part's programs for one machine, in the order they run: on face, then on edge."""

    part: object
    stock: Box
    profile: object
    milled: frozenset
    texts: tuple  # of (file, text, set-up)
    material: str
    plunge: dict
    depth: dict
    known: dict = dataclasses.field(default_factory=dict)
    """The undamaged programs as read, by name."""

    @property
    def tools(self):
        return {t.number: t for t in self.profile.tools}

    def names(self):
        """The programs that cut."""
        return [name for name, _, _ in self.texts if not in_air(name)]

    def names_in_air(self):
        return [name for name, _, _ in self.texts if in_air(name)]

    def text(self, name):
        return next(text for n, text, _ in self.texts if n == name)

    def run(self, name, text):
        """The texts that run in one program's set-up, in order, with that one exchanged."""
        setup = next(s for n, _, s in self.texts if n == name)
        return [text if n == name else t for n, t, s in self.texts if s == setup and not in_air(n)]

    def read(self, name, text):
        """A program as read; the undamaged ones only once."""
        if text != self.text(name):
            return read_program(text, self.profile, name=name, air=in_air(name))
        if name not in self.known:
            self.known[name] = read_program(text, self.profile, name=name, air=in_air(name))
        return self.known[name]

    def proof(self, **damaged):
        """The proof with the programs named (without their suffix) exchanged, as text or read."""
        given = {n: damaged.get(n.split(".")[0].replace("-", "_"), t) for n, t, _ in self.texts}
        return prove(
            [
                ProgramText(name=n, data=self.read(n, d) if isinstance(d, str) else d, setup=s,
                            air=in_air(n))
                for (n, d), (_, _, s) in zip(given.items(), self.texts, strict=True)
            ],
            self.part, stage=Stage.FINAL, milled=self.milled, stock=self.stock,
            profile=self.profile, material=self.material, plunge=self.plunge, depth=self.depth, step=STEP,
        )  # fmt: skip

    def codes(self, name, text):
        """Codes found with one program exchanged; what the reader finds needs no replay."""
        got = self.read(name, text)
        found = {f.code for f in got.findings}
        return found or {f.code for f in self.proof(**{name[:-4].replace("-", "_"): got}).faults}


@cache
def case(job_at, machine, kind):
    """The final programs of a part: ``nut``, its outline cut on face first; ``sawn nut``, on edge
    alone; ``saddle``, its ends milled; ``outlined saddle``, its outline cut on face as well;
    ``thick nut``, half a millimetre too thick, milled to its thickness and then as ``nut``."""
    job = job_reader.load(str(DEMO_JOBS[job_at]))
    # A saddle's round ends are milled on edge: on face they would come out square
    how = {
        "nut": {"outline": "mill"},
        "sawn nut": {"outline": "saw"},
        "saddle": {"outline": "saw", "ends": "mill"},
        "outlined saddle": {"outline": "mill", "ends": "mill"},
        "thick nut": {"outline": "mill", "thickness": "mill"},
    }[kind]
    job = dataclasses.replace(job, plan=dataclasses.replace(job.plan, **how))
    if kind == "thick nut":
        thick = dataclasses.replace(job.blanks.nut, thickness=job.nut.seat_width + 0.5)
        job = dataclasses.replace(job, blanks=dataclasses.replace(job.blanks, nut=thick))
    found = design(job)
    part = getattr(found, kind.split()[-1])
    profile = machine_of(job, machine)
    plan = plan_of(found, part, profile, Stage.FINAL)
    programs = (*plan.in_air, *plan.programs)
    cuts = [(o.tool.number, o.cut) for p in plan.programs for o in p.operations]
    setups = {f"{p.stem}.ngc": Setup(p.setup) for p in programs}
    written = sorted(files_of(found, plan, profile), key=lambda w: not in_air(w.name))
    return Case(
        part=part,
        stock=box_in_frame(found, part),
        profile=plan.request.machine,
        milled=frozenset(c.string for c in plan.slots if c.tool),
        texts=tuple((w.name, w.text, setups[w.name]) for w in written),
        material=found.job.blanks.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
    )  # fmt: skip
