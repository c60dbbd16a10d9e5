"""One demo job made into page data for all tests of the page; a Chromium where there is one."""

import dataclasses
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.preview.page import page
from blankcam.preview.scene import PartCut, page_data
from blankcam.safety import notice
from blankcam.workflows.layout import slot_decisions
from blankcam.workflows.request import machine_of
from tests.conftest import STEEL, demo_job, needed
from tests.proved import result_of


def data_of(stem, stages, machine=None, change=lambda job: job):
    return data_of_job(change(job_file.load(str(demo_job(stem)))), stages, machine)


def data_of_job(job, stages, machine=None):
    profile = machine_of(job, machine)
    found = design(job)
    cuts = [
        PartCut.of(m)
        for stage in stages
        for m in (result_of(found, name, profile, stage) for name in ("nut", "saddle"))
    ]
    choices = slot_decisions(found, profile, Stage.ROUGH)
    lines = notice(job.blanks.material, str(profile.kind))
    return found, cuts, page_data(found, profile, cuts, choices=choices, notice=lines)


@pytest.fixture(scope="session")
def steel():
    """(design, cuts, page data) of the six-string demo job, both stages replayed."""
    return data_of(STEEL.stem, (Stage.ROUGH, Stage.FINAL), change=sawn)


@pytest.fixture(scope="session")
def steel_file(steel, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "preview.html"
    path.write_text(page(steel[2]), encoding="utf-8")
    return path


def sawn(job):
    """The job with its outlines left to the saw: programs on edge alone."""
    return dataclasses.replace(job, plan=dataclasses.replace(job.plan, outline="saw", ends="hand"))


def on_face(job):
    """The job with its outlines milled, lying on face."""
    plan = dataclasses.replace(job.plan, outline="mill")
    saddle = dataclasses.replace(job.saddle, slot_ends="square")
    return dataclasses.replace(job, plan=plan, saddle=saddle)


@pytest.fixture(scope="session")
def faced(tmp_path_factory):
    """(cuts, file) of the left-handed demo job with its outline milled first."""
    _, cuts, data = data_of("left-classical", (Stage.ROUGH,), change=on_face)
    path = tmp_path_factory.mktemp("faced") / "preview.html"
    path.write_text(page(data), encoding="utf-8")
    return cuts, path


@pytest.fixture(scope="session")
def hostile_file(tmp_path_factory):
    """A page for hand work whose words try to break out of it."""
    _, _, data = data_of("left-classical", (), machine="hand-bench")
    evil = "</script><script>document.title='broken'</script>\u202e<img src=x onerror=alert(1)>"
    string = dataclasses.replace(data.side.strings[0], note=evil)
    side = dataclasses.replace(data.side, strings=(string, *data.side.strings[1:]))
    spots = tuple(dataclasses.replace(s, note=evil, remark=evil) for s in data.parts[0].spots)
    part = dataclasses.replace(data.parts[0], spots=spots)
    data = dataclasses.replace(
        data, title=evil, cautions=(evil,), side=side, parts=(part, data.parts[1])
    )
    path = tmp_path_factory.mktemp("hostile") / "preview.html"
    path.write_text(page(data), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def node_modules(tmp_path_factory):
    """A folder with axe-core and eslint: one given by BLANKCAM_NPM, else installed for this run."""
    given = os.environ.get("BLANKCAM_NPM")
    if given:
        return Path(given) / "node_modules"
    npm = shutil.which("npm")
    needed(npm, "npm")
    folder = tmp_path_factory.mktemp("npm")
    done = subprocess.run(
        [npm, "install", "--prefix", str(folder), "--no-audit", "--no-fund", "--ignore-scripts",
         "axe-core@4", "eslint@9", "@eslint/js@9"],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    needed(done.returncode == 0, "what npm should fetch")
    return folder / "node_modules"
