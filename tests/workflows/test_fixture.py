"""Several blanks in one fixture as one program: its order, its path, its proof."""

import dataclasses
import itertools
import json
import math
import re
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.faults import InputError, RefusedError
from blankcam.gcode import writer
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath import fixture_load
from blankcam.workflows import fixture
from blankcam.workflows.request import machine_of
from tests.conftest import REPO, first_then_long
from tests.installed import run
from tests.oracle import interpreter
from tests.proved import files_of, plan_of

UKULELE = REPO / "demo_jobs" / "phenolic-ukulele.toml"
MACHINE = "bench-mill"  # a set-up is one program
SIZE = "2 x 40 mm"


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    """Two jobs of one kind whose blanks are not alike."""
    folder = tmp_path_factory.mktemp("jobs")
    text = UKULELE.read_text()
    other, count = re.subn(r'(nut *= \{ length = )"[\d.]+ mm"', r'\1"50 mm"', text)
    assert count == 1
    (folder / "one.toml").write_text(text)
    (folder / "two.toml").write_text(other)
    return [(p.stem, job_file.load(str(p))) for p in sorted(folder.iterdir())]


def load_up(jobs, out, size=SIZE):
    return fixture.load_up(
        jobs, str(out), MACHINE, Stage.FINAL, fixture.fixture_of(size),
        pool=lambda: ThreadPoolExecutor(1),
    )  # fmt: skip


@pytest.fixture(scope="module")
def filled(jobs, tmp_path_factory):
    out = tmp_path_factory.mktemp("out")
    whole, said = load_up(jobs, out)
    assert whole, said
    return out / "fixture"


def changes(operations):
    return sum(1 for _ in itertools.groupby(o.tool.number for o in operations))


def operations(blank, tools):
    return [SimpleNamespace(tool=SimpleNamespace(number=t), of=(blank, i))
            for i, t in enumerate(tools)]  # fmt: skip


@pytest.mark.property
@given(st.lists(st.lists(st.integers(1, 4), max_size=6), min_size=1, max_size=4))
def test_each_blank_keeps_its_order_and_changes_are_never_more(lists):
    blanks = [operations(i, tools) for i, tools in enumerate(lists)]
    merged = fixture_load._in_turn(blanks)
    for i, blank in enumerate(blanks):
        assert [o for o in merged if o.of[0] == i] == blank
    assert max(map(changes, blanks)) <= changes(merged) <= sum(map(changes, blanks))


@pytest.mark.property
@given(st.lists(st.integers(1, 4), max_size=8), st.integers(1, 5))
def test_blanks_alike_need_no_change_more_than_one(tools, count):
    blanks = [operations(i, tools) for i in range(count)]
    assert changes(fixture_load._in_turn(blanks)) == changes(blanks[0])


def test_a_tool_waits_until_every_blank_is_ready_for_it():
    merged = fixture_load._in_turn([operations(0, [1, 2, 3]), operations(1, [1, 3])])
    assert [o.tool.number for o in merged] == [1, 1, 2, 3, 3]


def test_the_folder_holds_the_loads_their_list_and_their_record(filled):
    names = {p.name for p in filled.iterdir() if not p.name.startswith(".")}
    programs = {f"load-{n}-{part}-{setup}{air}.ngc" for n, part in ((1, "nut"), (2, "saddle"))
                for air in ("", "-air")
                for setup in ("face", "edge")}  # fmt: skip
    assert names == programs | {"fixture.md", "fixture.json"}
    loads = json.loads((filled / "fixture.json").read_text())["loads"]
    for load in loads:
        assert [s["number"] for s in load["seats"]] == [1, 2]
        assert all(s["proof"]["passed"] for s in load["seats"])
    edge = loads[0]["setups"][1]
    assert edge["seconds"] < edge["alone"] - 24  # a change of tool costs 12 s on this machine
    listed = (filled / "fixture.md").read_text()
    assert "SAFETY NOTICE" in listed
    assert all(f"`{name}`" in listed for name in programs)


@pytest.mark.long
@pytest.mark.oracle
@pytest.mark.parametrize("setup", ["face", "edge"])
@pytest.mark.parametrize("number", [1, 2])
def test_each_blank_is_cut_on_the_path_of_its_own_program(jobs, filled, number, setup, tmp_path):
    """Read by a real controller's interpreter: cuts at a place are those of the blank alone."""
    interpreter.require()
    _name, job = jobs[number - 1]
    found, profile = design(job), machine_of(job, MACHINE)
    plan = plan_of(found, found.nut, profile, Stage.FINAL)
    alone = next(w for w in files_of(found, plan, profile) if f"-{setup}" in w.name)
    text = (filled / f"load-1-nut-{setup}.ngc").read_text()
    at = re.search(rf"place {number} at X(\S+) Y(\S+) Z(\S+)", text)
    zero = [float(v) for v in at.groups()]
    assert zero[1] == 40 * (number - 1)
    # On edge the part stands cut out: its own left end is at the stop, not its blank's
    assert job.plan.outline == "mill"
    over = (job.blanks.nut.length - found.nut.length) / 2 if setup == "face" else 0.0
    assert zero[0] == pytest.approx(over, abs=5e-4)
    assert zero[2] == pytest.approx(found.nut.thickness if setup == "face" else 0, abs=5e-4)
    wanted = cuts(interpreter.ask(alone.text, profile.tools, tmp_path))
    shared = cuts(interpreter.ask(text, profile.tools, tmp_path))
    mine = [[a - z for a, z in zip(end, zero, strict=True)] for end in shared
            if abs(end[1] - zero[1] - 6) < 20]  # fmt: skip
    assert len(mine) == len(wanted) > 20
    assert max(math.dist(a, b) for a, b in zip(mine, wanted, strict=True)) < 0.001 * math.sqrt(3)


def cuts(heard):
    assert heard.accepted, heard.complaint
    return [s.end for s in heard.steps if s.kind != "rapid"]


def damaged(monkeypatch, change):
    """Every program written is damaged so on its way to the proof."""
    write = writer.write

    def wrong(program, *rest):
        written = write(program, *rest)
        return dataclasses.replace(written, text=change(written.text))

    monkeypatch.setattr(writer, "write", wrong)


def test_a_fault_at_one_place_is_told_of_that_place(jobs, tmp_path, monkeypatch):
    def deeper(text):
        before, sign, after = text.rpartition(" place 2 ")
        lines = after.split("\n")
        i = max(i for i, line in enumerate(lines) if re.match(r"G1 .*Z[\d.]+", line))
        lines[i] = re.sub(r"Z([\d.]+)", lambda m: f"Z{float(m[1]) - 0.5:.4f}", lines[i])
        return before + sign + "\n".join(lines)

    damaged(monkeypatch, lambda t: deeper(t) if "-edge.ngc" in t else t)
    with pytest.raises(RefusedError) as refused:
        load_up(jobs, tmp_path)
    words = str(refused.value)
    assert "place 2" in words
    assert "place 1" not in words
    assert not (tmp_path / "fixture").exists()


@pytest.mark.long
def test_a_rapid_through_the_blank_beside_is_found(jobs, tmp_path, monkeypatch):
    """All cut, the tool wanders off; the blank at place 2 is hit, and its proof says so."""

    def wander(text):
        lines = text.split("\n")
        i = max(i for i, line in enumerate(lines) if line.startswith("G53 G0 Z"))
        return "\n".join([*lines[:i], "G0 X20 Y43", "G0 Z4", "G0 Z20", *lines[i:]])

    damaged(monkeypatch, lambda t: wander(t) if "load-1-nut-edge.ngc" in t else t)
    with monkeypatch.context() as only:
        only.setattr(fixture, "request_of", saw_only(fixture.request_of))
        whole, said = load_up(jobs, tmp_path)
    assert not whole
    assert any("load-1-nut" in s and "rapid" in s for s in said), said
    assert any("load-2-saddle-edge.ngc" in s for s in said)  # the other load is made


def saw_only(request_of):
    """On edge alone, to keep the example small."""

    def sawn(found, *rest):
        job = dataclasses.replace(
            found.job, plan=dataclasses.replace(found.job.plan, outline="saw", ends="hand")
        )
        return request_of(dataclasses.replace(found, job=job), *rest)

    return sawn


def test_places_too_near_are_refused_with_what_would_do(jobs, tmp_path):
    with pytest.raises(RefusedError, match=r"at least (\d+)") as refused:
        load_up(jobs, tmp_path, "2 x 9 mm")
    need = float(re.search(r"at least ([\d.]+) mm", str(refused.value))[1])
    assert 9 < need < 40


@pytest.mark.parametrize("number", first_then_long([1, 2]))
def test_a_program_of_a_load_is_proved_for_each_of_its_jobs(jobs, filled, number):
    program = filled / "load-1-nut-edge.ngc"
    job = jobs[number - 1][1].path
    done = run("prove", program, "--job", job, "--machine", MACHINE, "--json")
    said = json.loads(done.stdout)
    assert (done.returncode, said["passed"]) == (0, True)
    assert [p["place"] for p in said["places"]] == [1, 2]
    assert all(p["passed"] and p["signed"] == "as written" for p in said["places"])
    refused = run("prove", program, "--job", UKULELE.with_name("wide-bass.toml"),
                  "--machine", MACHINE)  # fmt: skip
    assert refused.returncode == 2
    assert "2 blanks in a fixture, none of" in refused.stderr


@pytest.mark.long
def test_where_a_file_is_a_tool_each_file_of_a_load_is_proved(jobs, tmp_path):
    """Numbered by the load's tools, not by each blank's own."""
    out = tmp_path / "out"
    whole, said = fixture.load_up(
        jobs, str(out), "light-router", Stage.FINAL, fixture.fixture_of("2 x 30 mm"),
        pool=lambda: ThreadPoolExecutor(1),
    )  # fmt: skip
    assert whole, said
    programs = sorted((out / "fixture").glob("load-1-nut-edge-*.ngc"))
    assert len(programs) > 2
    for program in programs:
        done = run("prove", program, "--job", jobs[0][1].path, "--machine", "light-router")
        assert (done.returncode, done.stdout.count(": passed; as written")) == (0, 2), done.stdout


@pytest.mark.long
def test_an_edited_program_of_a_load_fails_whichever_job_is_named(jobs, filled, tmp_path):
    text = (filled / "load-1-nut-edge.ngc").read_text()
    before, sign, after = text.rpartition(" place 2 ")
    lines = after.split("\n")
    i = max(i for i, line in enumerate(lines) if re.match(r"G1 .*Z[\d.]+", line))
    lines[i] = re.sub(r"Z([\d.]+)", lambda m: f"Z{float(m[1]) - 0.5:.4f}", lines[i])
    edited = tmp_path / "load-1-nut-edge.ngc"
    edited.write_text(before + sign + "\n".join(lines))
    for _, job in jobs:
        done = run("prove", edited, "--job", job.path, "--machine", MACHINE)
        assert done.returncode == 1
        verdicts = re.findall(
            r"^place (\d): (\w+); differs from what was written", done.stdout, re.MULTILINE
        )
        assert verdicts == [("1", "passed"), ("2", "FAILED")]


@pytest.mark.long
def test_places_of_equal_jobs_are_judged_each(tmp_path):
    """Three of one job: equal digests, and only the first is cut 0.5 mm too deep."""
    folder = tmp_path / "jobs"
    folder.mkdir()
    for name in "abc":
        (folder / f"{name}.toml").write_bytes(UKULELE.read_bytes())
    filled = run("batch", folder, "--out", tmp_path / "out", "--machine", MACHINE,
                 "--fixture", "3 x 30 mm")  # fmt: skip
    assert filled.returncode == 0, filled.stderr
    program = tmp_path / "out" / "fixture" / "load-1-nut-edge.ngc"
    good = run("prove", program, "--job", folder / "b.toml", "--machine", MACHINE)
    assert good.returncode == 0, good.stdout
    assert good.stdout.count(": passed; as written") == 3
    lines = program.read_text().split("\n")
    first = next(i for i, s in enumerate(lines) if "place 1" in s and "slots" in s)
    i = next(
        i
        for i in range(first, len(lines))
        if re.match(r"G1 .*Y.*Z[\d.]+", lines[i]) and lines[i + 1].startswith("G0 Z")
    )
    lines[i] = re.sub(r"Z([\d.]+)", lambda m: f"Z{float(m[1]) - 0.8:.4f}", lines[i])
    bad = tmp_path / "load-1-nut-edge.ngc"
    bad.write_text("\n".join(lines))
    for name in "abc":
        done = run("prove", bad, "--job", folder / f"{name}.toml", "--machine", MACHINE)
        assert done.returncode == 1
        assert re.findall(r"^place \d: (\w+)", done.stdout, re.MULTILINE) == [
            "FAILED",
            "passed",
            "passed",
        ]


@pytest.mark.parametrize("text", ["", "4", "4 x", "x 20 mm", "4 x 20", "0 x 20 mm", "51 x 20 mm",
                                  "-1 x 20 mm", "2 x -5 mm", "1e3 x 20 mm", "2 x nan mm"])  # fmt: skip
def test_sizes_that_cannot_be_read(text):
    with pytest.raises(InputError, match="--fixture"):
        fixture.fixture_of(text)


def test_the_command_fills_a_fixture_and_leaves_out_what_cannot_be_cut(tmp_path):
    source = tmp_path / "jobs"
    source.mkdir()
    text = UKULELE.read_text()
    (source / "a.toml").write_text(text)
    (source / "b.toml").write_text(re.sub(r'(nut *= \{ length = )"[\d.]+ mm"', r'\1"20 mm"', text))
    out = tmp_path / "out"
    done = run("batch", source, "--out", out, "--machine", "bench-mill", "--fixture", "3 x 1.6 in")
    assert done.returncode == 1, done.stderr
    assert "place 2 stays empty" in done.stdout
    assert "20 mm" in done.stdout
    loads = json.loads((out / "fixture" / "fixture.json").read_text())["loads"]
    assert [(load["stem"], [s["number"] for s in load["seats"]]) for load in loads] == [
        ("load-1-nut", [1]), ("load-2-saddle", [1]),
    ]  # fmt: skip
    assert (out / "a" / "nut-edge.ngc").exists()
