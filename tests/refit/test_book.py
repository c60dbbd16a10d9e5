"""The log of refits: what was written comes back, and any damage is told."""

import json
from dataclasses import asdict, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.faults import InputError, OutputError
from blankcam.refit.book import LogEntry, append_entry, cut_so_far, log_path, read_log

ENTRY = LogEntry(
    made="2026-03-01T10:00:00+00:00",
    job="0123456789abcdef",
    readings="fedcba9876543210",
    before="cut",
    stage="rough",
    nut_take=(0.2, 0.15),
    saddle_take=(0.5, 0.4),
    saddle_by="bottom",
    bottom_left=0.52,
    bottom_right=0.38,
    first_fret=(0.5, 0.4),
    action=(2.1, 1.8),
)
HUGE = json.dumps({**asdict(ENTRY), "bottom_left": 10**400, "check": "0"})
OTHER = replace(ENTRY, nut_take=(0.01, 0.0), saddle_by="nothing")


def test_no_log_is_no_refit(tmp_path):
    assert read_log(str(tmp_path / "x.refits.jsonl")) == ()


def test_what_was_written_comes_back_in_order(tmp_path):
    path = log_path(str(tmp_path / "job.toml"))
    assert path.endswith("job.refits.jsonl")
    append_entry(path, ENTRY)
    first = (tmp_path / "job.refits.jsonl").read_bytes()
    append_entry(path, OTHER)
    assert read_log(path) == (ENTRY, OTHER)
    assert (tmp_path / "job.refits.jsonl").read_bytes().startswith(first)


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "log.jsonl"
    append_entry(str(path), ENTRY)
    append_entry(str(path), OTHER)
    return path.read_bytes()


@pytest.mark.property
@settings(max_examples=60)
@given(data=st.data())
def test_any_byte_changed_or_lost_is_told_and_nothing_is_added(two, tmp_path_factory, data):
    place = data.draw(st.integers(0, len(two) - 1))
    new = data.draw(st.sampled_from([b"", b"7", b"x", b"\xff", b"\n", b"}", b'"']))
    damaged = two[:place] + new + two[place + 1 :]
    path = tmp_path_factory.mktemp("log") / "log.jsonl"
    path.write_bytes(damaged)
    try:
        kept = read_log(str(path))
    except InputError:
        with pytest.raises(InputError):
            append_entry(str(path), ENTRY)
        assert path.read_bytes() == damaged
    else:
        assert kept == (ENTRY, OTHER)  # only what JSON does not care about was changed


def test_a_first_line_lost_or_two_swapped(two, tmp_path):
    one, other = two.splitlines(keepends=True)
    for text in (other, other + one, one + one, two[:-1], b"\n" + two, b"[]\n", b"null\n"):
        path = tmp_path / "log.jsonl"
        path.write_bytes(text)
        with pytest.raises(InputError, match="damaged"):
            read_log(str(path))


def test_hostile_lines(tmp_path):
    path = tmp_path / "log.jsonl"
    for text in ("[" * 100_000, '{"check": 1}', '{"check": NaN}', "\x00", "1e999", HUGE):
        path.write_text(text + "\n", encoding="utf-8")
        with pytest.raises(InputError, match="damaged"):
            read_log(str(path))


def test_a_log_that_cannot_be_written(tmp_path):
    with pytest.raises(OutputError, match="can't be written"):
        append_entry(str(tmp_path / "nowhere" / "log.jsonl"), ENTRY)


def test_what_has_been_cut_when_readings_are_taken():
    a, b = replace(ENTRY, readings="a"), replace(ENTRY, readings="b")
    undone = replace(ENTRY, readings="c", before="not cut")
    assert cut_so_far((), "x", "cut") == ()
    assert cut_so_far((a, b), "x", "cut") == (a, b)
    assert cut_so_far((a, b), "b", "cut") == (a,)  # the same readings again
    assert cut_so_far((a, b), "x", "not cut") == (a,)
    assert cut_so_far((a, b, undone), "x", "cut") == (a, undone)
    assert cut_so_far((a, b, undone), "c", "not cut") == (a,)
    assert cut_so_far((undone,), "x", "cut") == (undone,)
