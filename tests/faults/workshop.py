"""The invented workshop's programs, made once a session, and how to prove them damaged."""

import dataclasses
import re
from dataclasses import dataclass
from functools import cache

from blankcam.gcode.header import read_header
from blankcam.inputs import job_file as job_reader
from blankcam.parts.design import design
from blankcam.parts.frames import Box, Setup
from blankcam.parts.hand_left import HandLeft
from blankcam.parts.stage import Stage
from blankcam.refit.as_cut import PartsAsCut, Taken, after, nut_as_made, saddle_as_made
from blankcam.replay.proof import ProgramText
from blankcam.replay.prove import prove
from blankcam.replay.reader import read_program
from blankcam.workflows import prove_load
from blankcam.workflows.cut_part import WrittenLoad, proven_in_place, write_load
from blankcam.workflows.fixture import request_in_fixture, walled_alike
from blankcam.workflows.prove_load import FoundJob, GivenLoad
from blankcam.workflows.refit.pieces import pieces, requests
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import DEMO_JOBS, demo_job
from tests.faults.planted import shift
from tests.once import write_part

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
    stage: Stage
    by_hand: HandLeft
    known: dict = dataclasses.field(default_factory=dict)
    """The undamaged programs as read, by name."""

    @classmethod
    def of(cls, result):
        """The programs of a part as planned and written, those that cut first."""
        request = result.request
        cuts = [(o.tool.number, o.cut) for f in result.programs for o in f.program.operations]
        return cls(
            part=request.part,
            stock=request.blank,
            profile=request.machine,
            milled=result.milled,
            texts=tuple(
                (f.name, f.text, Setup(f.setup)) for f in (*result.in_air, *result.programs)
            ),
            material=request.material,
            plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
            depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
            stage=request.stage,
            by_hand=result.left_for_the_hand,
        )

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
            self.part, stage=self.stage, milled=self.milled, stock=self.stock,
            profile=self.profile, material=self.material, plunge=self.plunge, depth=self.depth,
            by_hand=self.by_hand, step=STEP,
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
    ``thick nut``, half a millimetre too thick, milled to its thickness and then as ``nut``;
    ``clamped nut``, of a longer blank under a clamp at each end on face, then as ``nut``."""
    job = job_reader.load(str(DEMO_JOBS[job_at]))
    # A saddle's round ends are milled on edge: on face they would come out square
    how = {
        "nut": {"outline": "mill"},
        "sawn nut": {"outline": "saw"},
        "saddle": {"outline": "saw", "ends": "mill"},
        "outlined saddle": {"outline": "mill", "ends": "mill"},
        "thick nut": {"outline": "mill", "thickness": "mill"},
        "clamped nut": {"outline": "mill"},
    }[kind]
    job = dataclasses.replace(job, plan=dataclasses.replace(job.plan, **how))
    profile = machine_of(job, machine)
    if kind == "thick nut":
        job = with_nut_blank(job, thickness=job.nut.seat_width + 0.5)
    if kind == "clamped nut":
        job = with_nut_blank(job, length=job.blanks.nut.length + 2 * CLAMPED)
        clamps = dataclasses.replace(profile.holding, face="clamps", clamp_height=3.0)
        profile = dataclasses.replace(profile, holding=clamps, holder_diameter=12.0)
    found = design(job)
    return Case.of(write_part(request_of(found, kind.split()[-1], profile, Stage.FINAL)))


CLAMPED = 18.0
"""mm that a blank is longer at each end, so that a holder gets by between clamp and part."""


def with_nut_blank(job, **changed):
    """The job with another blank for its nut."""
    nut = dataclasses.replace(job.blanks.nut, **changed)
    return dataclasses.replace(job, blanks=dataclasses.replace(job.blanks, nut=nut))


REFITS = {
    "nut-refit": {"nut": 0.15},
    "nut-refit with its top": {"nut": 0.1, "top": True},
    "saddle-refit": {"saddle": 0.4, "trim": "crown"},
    "saddle-bottom": {"trim": "bottom", "bottom_left": 0.3, "bottom_right": 0.4},
}
"""What each refit takes off, mm."""


@cache
def refit_case(job_at, machine, kind):
    """The programs of a refit of the parts as they stand after stage rough."""
    job = job_reader.load(str(DEMO_JOBS[job_at]))
    found, takes = design(job), {"nut": 0.0, "saddle": 0.0, "trim": "nothing"} | REFITS[kind]
    each = {name: (takes[name],) * len(found.nut.slots) for name in ("nut", "saddle")}
    taken = Taken(**(takes | each))
    now = PartsAsCut(nut=nut_as_made(found, Stage.ROUGH), saddle=saddle_as_made(found, Stage.ROUGH))
    asked = pieces(now, after(found, now, taken), taken)
    (request,) = requests(job, "0" * 16, machine_of(job, machine), asked)
    return Case.of(write_part(request))


@dataclass(frozen=True)
class LoadCase:
    """Two blanks in one fixture, their shared programs written."""

    load: WrittenLoad

    def names(self):
        """The programs that cut."""
        return [f.name for f in self.load.files if not f.program.air]

    def text(self, name):
        return next(f.text for f in self.load.files if f.name == name)

    def at(self, place, name):
        """Where a place's zero stands in a program."""
        shared = next(s for s in self.load.setups if name in {f.name for f in s.every_file})
        return shared.placed[place].at

    def codes(self, name, text):
        """Codes found at each place with one program exchanged."""
        return {
            place: {f.code for f in self._proof(place, name, text).faults}
            for place in self.load.blanks
        }

    def _proof(self, place, name, text):
        given = {name: text.encode()}
        return proven_in_place(self.load, place, given, self.at(place, name)).proof

    def damaged(self, name, damage, place):
        """The program's text damaged as a program of a place's own zero is; None without."""
        x, y, z = self.at(place, name)
        own = shifted(self.text(name).rstrip("\n").split("\n"), (-x, -y, -z))
        bad = damage(own, Case.of(self.load.blanks[place]))
        return None if bad is None else "\n".join([*shifted(bad, (x, y, z)), ""])


def shifted(lines, by):
    """Lines of code with another zero."""
    for letter, more in zip("XYZ", by, strict=True):
        lines = shift(letter, more)(lines) or lines
    return lines


@cache
def load_jobs():
    """Two jobs that differ in their blanks alone, as found in files of these names."""
    path = demo_job("phenolic-ukulele")
    text = path.read_text()
    other, count = re.subn(
        r'((?:nut|saddle) *= \{ length = )"([\d.]+) mm"',
        lambda m: f'{m[1]}"{float(m[2]) + 4:g} mm"',
        text,
    )
    assert count == 2
    jobs = {"one": job_reader.parse(text, str(path)), "two": job_reader.parse(other, "two.toml")}
    return {name: FoundJob(job=job, names=(name,)) for name, job in jobs.items()}


@cache
def load_case(machine, part):
    """Final programs for two blanks of one kind in a fixture, the second of them longer."""
    asked = {}
    for number, (name, found) in enumerate(load_jobs().items(), start=1):
        profile = machine_of(found.job, machine)
        request = request_in_fixture(found.job, part, profile, Stage.FINAL)
        label = dataclasses.replace(request.label, job=name)
        asked[number] = dataclasses.replace(request, label=label)
    planned = {n: write_part(request) for n, request in walled_alike(asked).items()}
    return LoadCase(write_load(f"load-1-{part}", planned, 40.0))


def load_today(case, text):
    """A load's program beside what would be written today for the jobs that it names."""
    data = text.encode()
    said = read_header(data)
    request = case.load.blanks[1].request
    given = GivenLoad(
        program="load.ngc", data=data, stem=said.stem, header=said, part=request.part.name,
        machine=request.machine.name.replace(" ", "-"), stage=said.stage,
    )  # fmt: skip
    return prove_load.load_today(given, {f.job.digest: f for f in load_jobs().values()})
