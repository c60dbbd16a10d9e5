"""A load's program proved with less than all its jobs, under another name, or with a hostile
header.
"""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.parts.stage import Stage
from blankcam.workflows import fixture
from blankcam.workflows.prove import prove
from tests.conftest import REPO, demo_job

MACHINE = "light-router"


@pytest.fixture(scope="module")
def nuts(tmp_path_factory):
    """A folder with two jobs of nuts alone, and the load's programs for both in another."""
    folder = tmp_path_factory.mktemp("nuts")
    text = re.sub(r"(?m)^saddle = \{.*\n", "", demo_job("nut-alone").read_text())
    other, count = re.subn(r'(nut *= \{ length = )"([\d.]+) mm"', r'\1"56 mm"', text)
    assert count == 1
    jobs = []
    for name, content in (("one", text), ("two", other)):
        path = folder / f"{name}.toml"
        path.write_text(content)
        jobs.append((name, job_file.load(str(path))))
    whole, said = fixture.load_up(
        jobs, str(folder), MACHINE, Stage.FINAL, fixture.fixture_of("2 x 30 mm"),
        pool=lambda: ThreadPoolExecutor(1),
    )  # fmt: skip
    assert whole, said
    return folder


def proved(program, job):
    return prove(str(program), str(job), MACHINE, None, as_json=False)


def test_a_place_whose_job_is_not_found_fails_and_the_other_is_judged(nuts, tmp_path):
    kept = tmp_path / "kept"
    kept.mkdir()
    for name in ("one.toml", "fixture/load-1-nut-edge-2.ngc"):
        (kept / name.split("/")[-1]).write_bytes((nuts / name).read_bytes())
    passed, lines = proved(kept / "load-1-nut-edge-2.ngc", kept / "one.toml")
    assert not passed
    assert lines[1].startswith("place 1: passed; as written")
    assert lines[2].startswith("place 2: not judged: the job of digest ")


def test_a_program_is_known_by_its_header_under_any_name(nuts):
    program = nuts / "whatever.nc"
    program.write_bytes((nuts / "fixture" / "load-1-nut-face-1.ngc").read_bytes())
    passed, lines = proved(program, nuts / "two.toml")
    assert passed, lines


def test_a_job_whose_file_is_called_otherwise_now_is_told(nuts, tmp_path):
    for name in ("one", "two"):
        (tmp_path / f"{name}-again.toml").write_bytes((nuts / f"{name}.toml").read_bytes())
    program = tmp_path / "load-1-nut-edge-air.ngc"
    program.write_bytes((nuts / "fixture" / program.name).read_bytes())
    passed, lines = proved(program, tmp_path / "one-again.toml")
    assert not passed
    assert sum("[V01]" in line for line in lines) == 2
    assert any("one, job digest" in line and "one-again, job digest" in line for line in lines)


def test_more_places_than_a_fixture_holds_are_refused(nuts):
    text = (nuts / "fixture" / "load-1-nut-edge-1.ngc").read_text()
    place = re.search(r"\(place 1 .*\)\n", text)[0]
    many = "".join(place.replace("place 1 ", f"place {n} ") for n in range(3, 60))
    program = nuts / "many.ngc"
    program.write_text(text.replace(place, place + many))
    with pytest.raises(InputError, match="is for 59 blanks in a fixture, which holds up to 50"):
        proved(program, nuts / "one.toml")


PLACE = re.compile(r"\(place (\d) at X(\S+) in Y(\S+) in Z(\S+) in ")


@pytest.fixture(scope="module")
def in_inches(nuts, tmp_path_factory):
    """The same load for the same machine in inches."""
    folder = tmp_path_factory.mktemp("inches")
    text = (REPO / "machines" / f"{MACHINE}.toml").read_text(encoding="utf-8")
    machine = folder / "inches.toml"
    machine.write_text(text.replace("[controller]", '[controller]\nunits = "inch"'))
    jobs = []
    for name in ("one", "two"):
        path = folder / f"{name}.toml"
        path.write_bytes((nuts / path.name).read_bytes())
        jobs.append((name, job_file.load(str(path))))
    whole, said = fixture.load_up(
        jobs, str(folder), str(machine), Stage.FINAL, fixture.fixture_of("2 x 30 mm"),
        pool=lambda: ThreadPoolExecutor(1),
    )  # fmt: skip
    assert whole, said
    return folder


@pytest.mark.long
def test_a_load_in_inches_says_everything_in_inches(nuts, in_inches):
    """Header, steps and stops; a place is the one of the same load in millimetres."""
    programs = sorted((in_inches / "fixture").glob("*.ngc"))
    assert {p.name for p in programs} == {p.name for p in (nuts / "fixture").glob("*.ngc")}
    for program in programs:
        text, other = program.read_text(), (nuts / "fixture" / program.name).read_text()
        comments = "\n".join(s for s in text.splitlines() if s.startswith("("))
        assert not re.search(r"\d mm\b", comments)
        places = PLACE.findall(text)
        bare = re.findall(r"\(place (\d) at X(\S+) Y(\S+) Z(\S+) ", other)
        assert len(places) == len(bare) == 2
        for inch, mm in zip(places, bare, strict=True):
            assert inch[0] == mm[0]
            for one, two in zip(inch[1:], mm[1:], strict=True):
                assert float(one) * 25.4 == pytest.approx(float(two), abs=0.00013)
    listed = (in_inches / "fixture" / "fixture.md").read_text()
    zeros = re.findall(r"Zero, T\d fitted[^:]*: (.*)$", listed, re.MULTILINE)
    assert len(zeros) == 2
    assert all(" in" in z and " mm" not in z for z in zeros)
    again = re.findall(r"fit it, touch off on .* set Z to (\S+) in \(\S+ mm\)", listed)
    assert len(again) == 2


@pytest.mark.long
def test_a_load_in_inches_is_proved_at_every_place(in_inches, tmp_path):
    machine = str(in_inches / "inches.toml")
    for name in ("load-1-nut-edge-1.ngc", "load-1-nut-face-air.ngc"):
        program = in_inches / "fixture" / name
        passed, lines = prove(
            str(program), str(in_inches / "one.toml"), machine, None, as_json=False
        )
        assert passed, lines
        assert sum("passed; as written" in line for line in lines) == 2
    moved = re.sub(r"(\(place 2 at X\S+ in Y)(\S+)", lambda m: f"{m[1]}{float(m[2]) + 0.08:.5f}",
                   program.read_text())  # fmt: skip
    (tmp_path / program.name).write_text(moved)
    for job in ("one", "two"):
        (tmp_path / f"{job}.toml").write_bytes((in_inches / f"{job}.toml").read_bytes())
    passed, lines = prove(
        str(tmp_path / program.name), str(tmp_path / "one.toml"), machine, None, as_json=False
    )
    assert any("states place 2" in line and "1.26110 in" in line for line in lines), lines
