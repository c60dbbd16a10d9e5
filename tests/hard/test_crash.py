"""At every call that changes a file system a command may die or be refused, and nothing is lost.

Whole means: the set that stood there or the new one, or a journal that the next run completes.
"""

import json
import os
import subprocess
import sys
from collections import Counter

import pytest

from blankcam import output_folder, transaction
from tests.conftest import REPO, STEEL
from tests.hard.crash import _files
from tests.workflows.test_batch import TEXT

CRASHED = 77
READINGS = """[readings]
first_fret = { bass = "0.77 mm", treble = "0.62 mm" }
action = { bass = "2.65 mm", treble = "2.15 mm" }
settled = "36 h"
"""
pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork"),
]


def explored(*args):
    done = subprocess.run(
        [sys.executable, "-m", "tests.hard.crash", *map(str, args)], cwd=REPO, capture_output=True,
        text=True, timeout=500, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-2000:]
    return json.loads(done.stdout)


def without_ours(files):
    """Without what a run that died may leave for the next one to clear away."""
    return {n: d for n, d in files.items() if transaction.STAGED not in n}


def sets(files):
    """The files by the folder they are in; folders that hold nothing do not count."""
    found = {}
    for name, digest in files.items():
        place, _, last = name.rpartition("/")
        if digest:
            found.setdefault(place, {})[last] = digest
    return found


def check(found, old, *, same=lambda files: files, tells_half=True):
    """Every run's outcome against the old files and those of the clean run; counts the runs."""
    _, new = found["clean"]
    assert found["clean"][0] == 0
    seen = Counter()
    for run in found["runs"]:
        where = run["way"], run["at"], run["said"]
        left, then = without_ours(run["left"]), run["then"]
        half = any(name.endswith(transaction.JOURNAL) for name in left)
        assert not half or run["way"] != "fail once", where
        if run["way"] == "crash":
            assert run["code"] == CRASHED, where
        else:
            assert run["code"] in (0, 2), where
            assert "Traceback" not in run["said"], where
            assert "fault of the program" not in run["said"], where
            assert run["code"] == 0 or run["said"].strip(), where
            assert ("not complete" in run["said"]) == half or not tells_half, where
        if not half:
            for place, files in sets(same(left)).items():
                assert files in (sets(same(old)).get(place), sets(same(new)).get(place)), (where, place)  # fmt: skip
            assert run["code"] != 0 or same(left) == same(new), where
        assert run["next"] == 0, (where, run["next said"])
        assert same(then) == same(new), where
        seen[run["way"], "half" if half else "whole"] += 1
    print(f"\n{sum(found['calls'].values())} calls {found['calls']}; runs: {dict(seen)}")
    assert seen["crash", "whole"] == seen.total() / 3 - seen["crash", "half"] > 0
    return seen


@pytest.fixture
def out(tmp_path):
    return tmp_path / "w" / "out"


@pytest.fixture
def old(out):
    """An old set beside a file of the maker's own."""
    out.mkdir(parents=True)
    output_folder.write(str(out), {"nut.dxf": b"old", "saddle.dxf": b"old", "old.ngc": b"old"})
    (out / "mine.txt").write_text("mine")
    return _files(out)


def test_make_over_an_old_set(out, old):
    args = "make", STEEL, "--out", out, "--force", "--machine", "hand-bench"
    found = explored("write", out, *args)
    seen = check(found, old)
    assert seen["crash", "half"] > 5
    assert found["clean"][1]["mine.txt"] == old["mine.txt"]
    assert "old.ngc" not in found["clean"][1]


def test_make_into_a_new_folder(tmp_path):
    place = tmp_path / "w"
    place.mkdir()
    found = explored("write", place, "dxf", STEEL, "--out", place / "a" / "out")
    check(found, {})


def test_batch(tmp_path, out):
    source = tmp_path / "jobs"
    source.mkdir()
    out.mkdir(parents=True)
    for name in ("one", "two", "three"):
        (source / f"{name}.toml").write_text(TEXT)
    (source / "bad.toml").write_text("x")
    found = explored("batch", out, source)
    # the summary tells what was made and what was kept: another one after a second run

    def same(files):
        return {n: d for n, d in files.items() if "summary" not in n and n != ".blankcam.json"}

    check(found, {}, same=same, tells_half=False)


def test_start(tmp_path):
    place = tmp_path / "w"
    place.mkdir()
    (place / "job.toml").write_text("old")
    args = "start", place / "job.toml", "--like", "ukulele", "--force"
    old = _files(place)
    check(explored("write_file", place, *args), old)
    args = "start", place / "new.toml", "--like", "ukulele"
    (tmp_path / "kept").rename(tmp_path / "before")
    old = _files(place)
    found = explored("write_file", place, *args)
    for run in found["runs"]:  # where it was written before it failed, it is there already
        if "already exists" in run["next said"]:
            assert run["then"] == run["left"]
            run["next"], run["then"] = 0, without_ours(run["then"])
    check(found, old)


def test_refit_and_its_book(tmp_path):
    """The folder comes before the book, so that parts are never taken to be lower than they are."""
    place = tmp_path / "w"
    place.mkdir()
    (place / "job.toml").write_text(TEXT)
    (place / "readings.toml").write_text(READINGS)
    args = "refit", place / "job.toml", place / "readings.toml", "--out", place / "out"
    found = explored("write", place, *args, "--machine", "hand-bench", "--force")
    book = next(n for n in found["clean"][1] if n.endswith(".jsonl"))

    def same(files):  # an entry holds the time it was made at; it may be torn, never doubled
        return {n: d for n, d in files.items() if n != book}

    check(found, _files(tmp_path / "kept"), same=same)
    for run in found["runs"]:
        if run["left"].get(book, "") != "":
            assert "out/refit.md" in run["left"]
        assert run["then"][book] != ""
