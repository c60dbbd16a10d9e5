"""Programs proved on the blank and in the place the job gives them, on a coarser grid."""

import dataclasses

from blankcam.cut import CutRequest, Label
from blankcam.gcode import writer
from blankcam.inputs.job import PlanJob
from blankcam.inputs.machine import ToolChange
from blankcam.outputs.reasons import words
from blankcam.parts.frames import Setup
from blankcam.replay.proof import ProgramText
from blankcam.replay.prove import prove
from blankcam.workflows.request import blank_as_cut, box_of, request_of
from tests import once

STEP = 0.1
"""mm; coarser than the proof's own cells: heights are exact at each, slots and ends have probes."""


def in_one_program(profile):
    """The machine as if it fetched its tools: a set-up is one program, which is easier
    to look at.
    """
    fetching = dataclasses.replace(profile.controller, tool_change=ToolChange.AUTOMATIC)
    return dataclasses.replace(profile, controller=fetching)


def plan_of(found, part, profile, stage):
    """The plan of a part of a design, not written."""
    return once.plan(request_of(found, part.name, profile, stage))


def request_for(part, blank, profile, material, stage, *, held=None, **by):
    """A request for a part from a blank, all the hand's but what ``by`` says."""
    if held is not None:
        profile = dataclasses.replace(profile, holding=held)
    wishes = {"slots": "mill", "outline": "saw", "thickness": "hand", "ends": "mill"} | by
    return CutRequest(
        part=part, blank=box_of(blank, part), machine=profile, material=material, stage=stage,
        wishes=PlanJob(machine=profile.name, **wishes),
        label=Label(stem=part.name, job="a job", job_digest="0" * 16),
    )  # fmt: skip


def plan_for(*given, **by):
    """The plan of a part from a blank; see ``request_for``."""
    return once.plan(request_for(*given, **by))


def hand_words(plan):
    """Why a plan leaves to the hand what it was asked to make, as one text."""
    return "; ".join(words(d.reasons) for d in plan.decisions if d.tool is None)


def files_of(found, plan, profile):
    """The files of a plan, those that cut, then those in the air."""
    job, programs = found.job, (*plan.programs, *plan.in_air)
    return tuple(writer.write(p, profile, job.instrument.name, job.digest) for p in programs)


def result_of(found, name, profile, stage):
    """A part of a design planned, written and proven."""
    return once.cut_part(request_of(found, name, profile, stage))


def unproven(found, name, profile, stage):
    """A part of a design planned and written."""
    return once.write_part(request_of(found, name, profile, stage))


def box_in_frame(found, part):
    """The blank of a part as it comes under the cutter."""
    return box_of(blank_as_cut(found, part), part)


def held_as_planned(profile, plan):
    """The machine with its jaws where the plan has worked them out, if it has."""
    if profile.holding.jaw_top != "auto":
        return profile
    held = dataclasses.replace(profile.holding, jaw_top=plan.request.machine.holding.jaws)
    return dataclasses.replace(profile, holding=held)


def proved(found, part, profile, stage, plan, written, **changed):
    """The proof of a plan's texts; ``changed``: other texts by stem, - as _."""
    programs = [w.program for w in written]
    setups = {w.name: Setup(w.setup) for w in written}
    cuts = [(o.tool.number, o.cut) for p in programs for o in p.operations]
    return prove(
        [
            ProgramText(
                name=w.name,
                data=changed.get(w.name.removesuffix(".ngc").replace("-", "_"), w.text),
                setup=setups[w.name],
                air=w.program.air,
            )
            for w in written
        ],
        part,
        stage=stage,
        milled=frozenset(c.string for c in plan.slots if c.tool),
        stock=box_in_frame(found, part),
        profile=held_as_planned(profile, plan),
        material=found.job.blanks.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
        step=STEP,
    )
