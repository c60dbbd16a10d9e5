"""Strung, read, refitted, cut and read again: each cut is what the replay of its program leaves.

The instrument is invented: its seats, its board and its settled neck are a little other than the
job says, and every reading is off. What is filed by hand is filed as the marks say, within 0.01 mm
or so.
"""

import json
import math
import shutil

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workers import Worker
from blankcam.workflows.cut_part import cut_parts
from blankcam.workflows.refit import folder
from blankcam.workflows.request import machine_of
from tests.conftest import STEEL

UNCERTAINTY = 0.05
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
        self.bridge = -0.2 + self.rng.uniform(-0.3, 0.3)  # neck and bridge under tension
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

    def read(self, name, settled):
        told = self.clearances() + self.rng.uniform(-UNCERTAINTY, UNCERTAINTY, (6, 2)) / 2
        rows = [
            "{ " + ", ".join(f'{6 - i} = "{v:.3f} mm"' for i, v in enumerate(told[:, k])) + " }"
            for k in (0, 1)
        ]
        path = self.path.parent / name
        path.write_text(
            f'[readings]\nfirst_fret = {rows[0]}\naction = {rows[1]}\nsettled = "{settled} h"\n'
            f'uncertainty = "{UNCERTAINTY} mm"\n'
        )
        return str(path)

    def refit(self, name, monkeypatch):
        """Cut as the refit asks; returns its record. Its page and sheet, which nobody looks at
        here, are not drawn.
        """
        kept, real = [], folder.work_out
        monkeypatch.setattr(folder, "work_out", lambda *a: kept.append(real(*a)) or kept[-1])
        monkeypatch.setattr(folder, "refit_page", lambda *_: b"")
        monkeypatch.setattr(folder, "_drawn", lambda *_: {})
        told = self.read(f"{name}.toml", 36)
        list(folder.refit(str(self.path), told, str(self.path.parent / name), None))
        monkeypatch.setattr(folder, "work_out", real)
        self.cut(kept[0])
        self.bridge -= float(self.rng.normal(0, 0.03))  # strings off and on
        return json.loads((self.path.parent / name / "refit.json").read_text())

    def cut(self, worked):
        before, after = worked.known.standing, worked.after
        by_hand = np.array(worked.taken.nut) + self.rng.normal(0, 0.01, 6)
        filed = self.floors - np.where(np.array(worked.taken.nut) > 0, by_hand, 0)
        self.floors = filed
        for result in worked.cuts.results:
            assert result.proof.passed
            field, stem = result.proof.field, result.request.label.stem
            if stem == "nut-refit" and any(worked.taken.nut):
                milled = [s.string in result.milled for s in after.nut.slots]
                cut = self.floors_of(field, result, after.nut, filed)
                self.floors = np.where(milled, cut, filed)
            elif stem == "saddle-bottom":
                # turned over: what stands between its underside and its crown is the new height
                self.tops = self.trimmed(field, before.saddle)
            elif stem == "saddle-refit":
                self.tops = self.tops_of(field, after.saddle)

    def trimmed(self, field, saddle):
        centres = np.array([s.centre for s in saddle.strings])
        at = [int(np.argmin(np.abs(field.x - c))) for c in centres]
        now = saddle.top.height(centres)
        lowest = np.array([float(np.max(field.z[:, i])) for i in at])
        return lowest - (saddle.height - now) + (self.tops - now)


@pytest.mark.long
def test_twenty_instruments_come_to_the_clearances_promised(tmp_path, monkeypatch):
    """Every cut is what its proven program, replayed, leaves; what is said beforehand is then read.

    A promise is a value with a band for 95 of 100; of some 240 a share under 0.90 would be chance
    in one case of a thousand (binomial, strings of one instrument alike, so that fewer count
    fully).
    """
    promised, rounds = [], []
    for seed in range(1, 21):
        folder = tmp_path / str(seed)
        folder.mkdir()
        shutil.copy(STEEL, folder / "job.toml")
        bench = Bench(folder / "job.toml", seed)
        for count in range(6):
            record = bench.refit(f"r{count}", monkeypatch)
            true = bench.clearances()
            first = [s["first_fret"] for s in record["strings"]]
            action = [s["action"] for s in record["strings"]]
            for k, frets in enumerate((first, action)):
                then = np.array([[f["after"], f["after_band"], f["wanted"]] for f in frets])
                promised += list(np.abs(true[:, k] - then[:, 0]) <= then[:, 1])
                if k == 0:
                    assert np.min(true[:, 0] - then[:, 2]) >= -0.05, seed
            if record["state"] == "done":
                break
        rounds.append(count)
        assert record["state"] == "done", seed
    print(f"kept {np.mean(promised):.3f} of {len(promised)} promises, rounds {rounds}")
    assert np.mean(promised) >= 0.90
    assert np.mean(np.array(rounds) <= 3) >= 0.95
