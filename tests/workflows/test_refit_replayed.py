"""Strung, read, refitted, cut and read again: each cut is what the replay of its program leaves.

The instrument is invented: its seats, its board and its settled neck are a little other than the job
says, and every reading is off by up to its uncertainty. What is filed by hand is filed as the marks
say, within 0.005 mm.
"""

import math
import shutil

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.part import Stage
from blankcam.workers import Worker
from blankcam.workflows import refit
from blankcam.workflows.cut_part import cut_parts
from blankcam.workflows.request import machine_of
from tests.conftest import STEEL
from tests.workflows.test_refit import by_number

UNCERTAINTY = 0.02
FRETS = np.array([1.0, 12.0])


class Bench:
    """The true parts on the true instrument."""

    def __init__(self, job, seed):
        self.rng = np.random.default_rng(seed)
        self.path = job
        self.found = design(job_file.load(str(job)))
        self.profile = machine_of(self.found.job, None)
        made = cut_parts(self.found, self.profile, Stage.ROUGH, Worker())
        assert all(m.proof.passed for m in made)
        rough = [s.floor_front + self.found.nut.hold_back for s in self.found.nut.slots]
        self.floors = self.floors_of(made[0].proof.field, made[0], self.found.nut, rough)
        self.tops = self.tops_of(made[1].proof.field, self.found.saddle)
        self.seat = self.rng.uniform(-0.05, 0.05)  # the nut sits deeper than measured
        self.bridge = self.rng.uniform(-0.1, 0.1)
        self.neck = np.array([0.0, self.rng.uniform(-0.05, 0.05)])  # at frets 1 and 12

    def floors_of(self, field, result, nut, marks):
        milled = result.milled
        floors = []
        for slot, mark in zip(nut.slots, marks, strict=True):
            near = np.abs(field.x - slot.centre) < slot.radius
            low = float(np.min(field.z[0, near])) + math.tan(slot.tilt) * float(field.y[0])
            by_hand = mark + self.rng.uniform(-0.005, 0.005)
            floors.append(low if slot.string in milled else by_hand)
        return np.array(floors)

    def tops_of(self, field, saddle):
        at = [int(np.argmin(np.abs(field.x - s.centre))) for s in saddle.strings]
        return np.array([float(np.max(field.z[:, i])) for i in at])

    def clearances(self):
        """True, shape (strings, 2)."""
        i = self.found.instrument
        rows = []
        for k, string in enumerate(i.strings):
            z_nut = self.floors[k] + i.nut_floor - self.seat
            z_saddle = self.tops[k] + i.saddle_floor - self.bridge
            s = i.board.fret_at(FRETS)
            line = z_nut + (z_saddle - z_nut) * s / string.length
            rows.append(line - i.board.fret_top(s, string.across(s)) + self.neck)
        return np.array(rows)

    def over_target(self):
        i = self.found.instrument
        return self.clearances() - np.array([s.clearance(i.board, FRETS) for s in i.strings])

    def read(self, name):
        told = self.clearances() + self.rng.uniform(-UNCERTAINTY, UNCERTAINTY, (6, 2))
        rows = [by_number(told[:, i]) for i in (0, 1)]
        path = self.path.parent / name
        path.write_text(
            f'[readings]\nfirst_fret = {rows[0]}\naction = {rows[1]}\nsettled = "36 h"\n'
            f'uncertainty = "{UNCERTAINTY} mm"\n'
        )
        return str(path)

    def refit(self, name):
        told = self.read(name)
        worked = refit.work_out(str(self.path), told)
        cuts, _ = refit._cuts(worked, self.profile)
        list(refit.refit(str(self.path), told, str(self.path.parent / name[:2]), None))
        for cut in cuts:
            assert cut.proof.passed
            field = cut.proof.field
            if cut.request.label.stem == "nut-refit":
                marks = [s.floor_front for s in worked.after.nut.slots]
                before = self.floors
                self.floors = self.floors_of(field, cut, worked.after.nut, marks)
                taken = np.array([s.nut_take for s in worked.done.strings])
                self.floors = np.where(taken > 0, self.floors, before)
            elif cut.request.label.stem == "saddle-bottom":
                # turned over: what stands between its underside and its crown is the new height
                self.tops = self.trimmed(field, worked.now.saddle)
            else:
                self.tops = self.tops_of(field, worked.after.saddle)

    def trimmed(self, field, saddle):
        at = [int(np.argmin(np.abs(field.x - s.centre))) for s in saddle.strings]
        crown = saddle.height - saddle.top.height(np.array([s.centre for s in saddle.strings]))
        lowest = np.array([float(np.max(field.z[:, i])) for i in at])
        return lowest - crown + (self.tops - saddle.top.height(
            np.array([s.centre for s in saddle.strings])
        ))  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2])
def test_within_two_rounds_every_string_is_right_and_none_too_low(seed, tmp_path):
    job = tmp_path / "job.toml"
    shutil.copy(STEEL, job)
    bench = Bench(job, seed)
    assert np.max(bench.over_target()) > 0.15  # there is something to do
    lowest = np.inf
    for name in ("r1.toml", "r2.toml"):
        bench.refit(name)
        lowest = min(lowest, float(np.min(bench.over_target())))
    assert np.max(np.abs(bench.over_target())) <= 0.05
    # hand work within 0.005 mm and floors proven within 0.010 mm may add to a reading's error
    assert lowest >= -0.015
