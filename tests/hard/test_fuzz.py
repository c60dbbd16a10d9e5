"""Readers under hostile documents: success or faults of one line each, in bounded time."""

import copy
import json
import os
import time
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blankcam.data import table
from blankcam.faults import BlankcamError, InputError
from blankcam.inputs import interview, job_file, job_table, readings_file
from blankcam.inputs.border import read_text
from blankcam.inputs.job import KINDS
from blankcam.inputs.machine_file import parse_profile, read_profile
from blankcam.parts.design import design
from blankcam.refit import book
from blankcam.replay import reader
from tests.conftest import DEMO_JOBS, REPO
from tests.hard import guided

SECONDS = float(os.environ.get("BLANKCAM_FUZZ_SECONDS", "2"))
LONG_SECONDS = float(os.environ.get("BLANKCAM_FUZZ_LONG_SECONDS", "600"))
SEED = int(os.environ.get("BLANKCAM_FUZZ_SEED", "20"))
MILL = read_profile("light-router")
PROFILES = [p.read_bytes() for p in sorted((REPO / "machines").glob("*.toml"))]
JOBS = [p.read_bytes() for p in DEMO_JOBS]
READINGS = b"""[readings]
first_fret = { bass = "0.77 mm", treble = "0.62 mm" }
action = { 6 = "2.65 mm", 5 = "2.6 mm", 1 = "2.15 mm" }
third_fret = { 6 = "0.4 mm" }
nut = "shimmed 0.30 mm"
filled = [6]
relief = "0.1 mm"
settled = "36 h"
uncertainty = "0.03 mm"
"""
PROGRAM = b"""%
(job: x)
N10 G21 G90 G17 G94 G40 G49
T1 M6 (tool 1)
G43 H1
S12000 M3
G0 X0. Y0. Z10.
G1 Z-.5 F60
G18 G3 X4.25 Z-.1 I2. K0.
G17 G2 X0 Y0 R12.5 F200
G4 P.5
M5
M0 (change)
G64 P0.002
G20
G1 X.125 Y-1.0
M30
%
"""


def one_line_each(work, *args):
    """Run work; what it refuses must be told in printable lines of bounded length."""
    try:
        return work(*args)
    except BlankcamError as told:
        for fault in told.faults:
            assert str(fault).isprintable(), fault
            assert len(str(fault)) < 1500, fault
    return None


def text_of(data):
    return data.decode("utf-8-sig", "replace")


READERS = [
    (lambda d: reader.read_program(d, MILL), [PROGRAM, *PROGRAM.split(b"\n")], ("replay/reader.py", "replay/line.py", "replay/arcs.py")),
    (lambda d: job_file.parse(text_of(d), "j.toml"), JOBS[:3], ("inputs/job_file.py", "inputs/job_schema.py", "inputs/fields.py", "inputs/units.py", "inputs/border.py")),
    (lambda d: parse_profile(text_of(d), "m.toml"), PROFILES, ("inputs/machine_file.py", "inputs/border.py", "inputs/fields.py", "inputs/units.py")),
]  # fmt: skip
each_reader = pytest.mark.parametrize(
    ("work", "seeds", "within"), READERS, ids=["program", "job", "profile"]
)


@pytest.mark.long
@each_reader
def test_guided_by_what_the_readers_reach(work, seeds, within):
    _, kept = guided.fuzz(
        lambda data: one_line_each(work, data), seeds, within=within, seconds=SECONDS, rounds=100_000, seed=SEED,
        least=100,
    )  # fmt: skip
    assert kept > len(seeds)


@pytest.mark.long
@each_reader
def test_ten_minutes_from_a_fresh_seed(work, seeds, within):
    """A third of the time for each reader; what breaks one joins ``EDGES``, cut down to
    the least.
    """
    fresh = int(os.environ.get("BLANKCAM_FUZZ_SEED", str(time.time_ns() % 1_000_000_000)))
    print(f"\nseed {fresh}")
    try:
        done, kept = guided.fuzz(
            lambda data: one_line_each(work, data), seeds, within=within,
            seconds=LONG_SECONDS / 3, rounds=10_000_000, seed=fresh,
        )  # fmt: skip
    except BaseException as fault:
        fault.add_note(f"BLANKCAM_FUZZ_SEED={fresh}")
        raise
    print(f"{done} inputs, {kept} kept")
    assert kept > len(seeds)


EDGES = (
    b"a = " + b"9" * 5000, b"a = 1979-13-01", b"[a]\n[a]", b"a = 1_", b'a = "\\ud800"', b"\xef\xbb\xbf\xef\xbb\xbf",
    b"G2 R1e308", b"G18 G3 K0 R.0000001", b"N" + b"9" * 400, b"(", b"G1 X1e", b"\x00",
)  # fmt: skip
"""Least inputs at the edges of what the readers take; what the fuzzer finds joins them."""


@pytest.mark.parametrize("data", EDGES, ids=range(len(EDGES)))
def test_the_edges_are_told(data):
    for work, *_ in READERS:
        one_line_each(work, data)


HOSTILE = st.one_of(
    st.none().map(lambda _: {}), st.booleans(), st.integers(), st.floats(), st.text(max_size=60),
    st.sampled_from(["nan mm", "1/0 in", "-1 mm", "1e9 mm", "0 mm", "9" * 39, "0.0001 in", "1 1/2", "٣ mm", "flat"]),
    st.sampled_from([[], [[]], {"bass": "1 mm"}, {"bass": [], "treble": {}}, ["1 mm"] * 300, 10**400, -(2**63)]),
    st.dictionaries(st.text(max_size=6), st.text(max_size=6), max_size=2),
)  # fmt: skip


def places(node, at=()):
    """The path of every value in a document, tables and lists too."""
    items = (
        node.items()
        if isinstance(node, dict)
        else enumerate(node)
        if isinstance(node, list)
        else ()
    )
    for key, value in items:
        yield (*at, key)
        yield from places(value, (*at, key))


@st.composite
def spoiled(draw, whole):
    """A good document with one to three values or keys made hostile."""
    made = json.loads(json.dumps(whole))
    for _ in range(draw(st.integers(1, 3))):
        where = draw(st.sampled_from(sorted(places(made), key=str) or [()]))
        if not where:
            break
        here = made
        for step in where[:-1]:
            here = here[step]
        what = draw(st.integers(0, 3))
        if what == 0 and isinstance(here, dict):
            here[draw(st.text(max_size=12))] = here.pop(where[-1])
        elif what == 1:
            del here[where[-1]]
        else:
            here[where[-1]] = copy.deepcopy(draw(HOSTILE))
    return made


def laid_out(tables):
    filled, assumed = job_file.fill(tables)
    return design(job_file.from_tables(filled, assumed, "j.toml", {}))


QUICK = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.property
@QUICK
@given(spoiled(tomllib.loads(JOBS[1].decode())))
def test_a_job_with_hostile_values_is_told_or_worked_out(tables):
    one_line_each(laid_out, tables)


@pytest.mark.property
@QUICK
@given(st.data())
def test_extreme_but_believable_values_are_told_or_worked_out(data):
    """Each value of a job at an end of what is believable: no sum of them may break the
    mathematics.
    """
    kind = data.draw(st.sampled_from(KINDS))
    tables = {"instrument": {"name": "x", "kind": kind}}
    sane = table("sane")
    for where in ("board", "nut", "saddle"):
        for key in data.draw(
            st.lists(st.sampled_from(sorted(sane[where])), max_size=3, unique=True)
        ):
            if key in {"margin", "compensation", "end_at", "lift"}:
                continue
            end = data.draw(st.sampled_from(sane[where][key]))
            value = end / 2 if key == "exposure" else f"{end} deg" if key == "tilt" else f"{end} mm"
            tables.setdefault(where, {})[key] = value
    one_line_each(laid_out, tables)


@pytest.mark.property
@QUICK
@given(spoiled(tomllib.loads(READINGS.decode())), st.integers(2, 24))
def test_hostile_readings(tables, strings):
    def toml(value):
        if isinstance(value, dict):
            return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(map(toml, value)) + "]"
        return json.dumps(value).replace("Infinity", "inf").replace("NaN", "nan")

    text = "\n".join(f"{json.dumps(k)} = {toml(v)}" for k, v in tables.items())
    one_line_each(readings_file.parse, text, "r.toml", strings)


@pytest.mark.property
@QUICK
@given(
    st.binary(max_size=200), st.integers(0, 400), st.sampled_from(["log", "rows", "answers", "job"])
)
def test_random_bytes_in_every_file_there_is(tmp_path_factory, noise, at, kind):
    folder = tmp_path_factory.mktemp("noise")
    path = folder / "file.toml"
    good = {"log": b"", "rows": b"instrument.name,nut.tilt\nx,7 deg\n", "job": JOBS[0],
            "answers": interview.kept(interview.answered(interview.Talk(), "bass")).encode()}[kind]  # fmt: skip
    path.write_bytes(good[:at] + noise + good[at:])
    work = {"log": book.read_book, "job": job_file.load,
            "rows": lambda p: job_table.jobs(str(DEMO_JOBS[0]), p),
            "answers": lambda p: interview.taken_up(read_text(p), p)}[kind]  # fmt: skip
    one_line_each(work, str(path))


@pytest.mark.parametrize(
    "text",
    ["a = " + "[" * 100_000, "a = " + "{a=" * 5000, "a." * 60_000 + "b = 1", "x = " + "9" * 5000,
     "\n".join(f"[t{i}]" for i in range(10_000)), "[[strings]]\n" * 50_000, "#" * 900_000,
     'a = "' + "x" * 900_000 + '"', "[" + "a." * 20_000 + "b]\n", '"' + "\\u0061" * 100_000 + '" = 1',
     " " * 500_000 + "= 1", "a = 1 " + " " * 500_000 + "b", '[instrument]\nkind = "' + "1 " * 200_000 + '"'],
    ids=range(13),
)  # fmt: skip
def test_documents_built_to_take_long_do_not(text):
    """Quadratic patterns and deep nesting, each near the largest file that is read."""
    began = time.process_time()
    for work in (job_file.parse, parse_profile, lambda t, p: readings_file.parse(t, p, 6), interview.taken_up):  # fmt: skip
        with pytest.raises(InputError) as told:
            work(text, "x.toml")
        assert len(str(told.value).splitlines()) <= 51
    assert time.process_time() - began < 15


def test_programs_built_to_take_long_do_not():
    began = time.monotonic()
    for text in (
        b"(" * 200_000,
        b"G1 X1" * 40_000,
        b"G0X1\n" * 30_000,
        b" " * 500_000,
        b"X" + b"9" * 200_000,
    ):
        reader.read_program(text, MILL)
    assert time.monotonic() - began < 15


def test_the_guided_fuzzer_finds_a_planted_fault():
    """It must reach a fault behind three conditions that chance alone would hardly meet."""

    def planted(data):
        if not data.startswith(b"G18"):
            return
        if b"K" not in data:
            return
        assert b"1e308" not in data

    with pytest.raises(AssertionError):
        guided.fuzz(
            planted, [b"G17 G1 X1"], within=("test_fuzz.py",), seconds=20, rounds=200_000, seed=1
        )
