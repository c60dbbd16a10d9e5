"""A load's program proved with less than all its jobs, under another name, or with a hostile header."""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.parts.stage import Stage
from blankcam.workflows import fixture
from blankcam.workflows.prove import prove
from tests.conftest import demo_job

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
