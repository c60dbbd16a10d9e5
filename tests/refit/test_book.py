"""The book of parts: what was written comes back, any damage is told, refits take turns."""

import json
import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.faults import InputError, OutputError, RefusedError
from blankcam.refit import book
from blankcam.refit.book import (
    Made,
    NotCut,
    ReadingsTaken,
    Refitted,
    ShimPut,
    SlotsFilled,
    add_entries,
    book_path,
    drop_torn_line,
    locked,
    read_book,
    refuse_old_log,
)
from blankcam.refit.so_far import calls_of, standing_calls, without_not_cut

NUT = Made(part="nut", number=1, stage="rough", job="[instrument]\n", milled=(2, 1))
SADDLE = Made(part="saddle", number=1, stage="rough", job="[instrument]\n", milled=())


def readings(digest):
    return ReadingsTaken(
        digest=digest, first_fret={2: 0.6, 1: 0.5}, action={2: 2.4}, held={}, uncertainty=0.05,
        relief=None, settled=36, measured="once",
    )  # fmt: skip


def refitted(number, take=0.2):
    return Refitted(
        number=number, nut={2: take, 1: 0.0}, saddle={2: 0.5, 1: 0.4}, trim="bottom",
        bottom_left=0.5, bottom_right=0.4, top=False, widths={}, milled=(2,), saddle_milled=True,
    )  # fmt: skip


CALL = (NUT, SADDLE, readings("a"), refitted(1))


def written(path, *entries):
    add_entries(read_book(str(path)), entries)
    return path.read_bytes()


def test_no_book_is_an_empty_book(tmp_path):
    assert read_book(str(tmp_path / "x.parts.jsonl")).entries == ()


def test_what_was_written_comes_back_in_order_and_is_only_added_to(tmp_path):
    path = tmp_path / "job.parts.jsonl"
    assert book_path(str(tmp_path / "job.toml")) == str(path)
    more = (NotCut(), ShimPut(part="nut", by=0.3), SlotsFilled(strings=(2,)), readings("b"))
    first = written(path, *CALL)
    assert written(path, *more).startswith(first)
    assert read_book(str(path)).entries == (*CALL, *more)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return written(tmp_path_factory.mktemp("book") / "b.jsonl", *CALL)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_byte_changed_or_lost_is_told(whole, tmp_path_factory, data):
    place = data.draw(st.integers(0, len(whole) - 1))
    new = data.draw(st.sampled_from([b"", b"7", b"x", b"\xff", b"\n", b"}", b'"']))
    path = tmp_path_factory.mktemp("book") / "b.jsonl"
    path.write_bytes(whole[:place] + new + whole[place + 1 :])
    try:
        kept = read_book(str(path)).entries
    except InputError:
        return
    assert kept == CALL  # only what JSON does not care about was changed


def test_a_first_line_lost_or_two_swapped(whole, tmp_path):
    one, two, *others = whole.splitlines(keepends=True)
    rest = b"".join(others)
    path = tmp_path / "b.jsonl"
    for text in (two + rest, two + one + rest, one + one, b"\n" + whole, b"[]\n", b"null\n"):
        path.write_bytes(text)
        with pytest.raises(InputError, match="damaged"):
            read_book(str(path))


def test_a_torn_last_line_is_told_and_can_be_dropped(whole, tmp_path):
    path = tmp_path / "b.jsonl"
    path.write_bytes(whole[:-20])
    with pytest.raises(InputError, match=r"cut short.*--drop-torn-line"):
        read_book(str(path))
    assert path.read_bytes() == whole[:-20]
    assert drop_torn_line(str(path))
    assert read_book(str(path)).entries == CALL[:-1]
    assert not drop_torn_line(str(path))
    path.write_bytes(whole.replace(b'"rough"', b'"final"', 1)[:-20])
    with pytest.raises(InputError, match="damaged"):
        drop_torn_line(str(path))


def test_hostile_lines(tmp_path):
    path = tmp_path / "b.jsonl"
    huge = json.dumps({"event": "shimmed", "part": "nut", "by": 10**400, "check": "0"})
    for text in ("[" * 100_000, '{"check": 1}', '{"check": NaN}', "\x00", "1e999", huge):
        path.write_text(text + "\n", encoding="utf-8")
        with pytest.raises(InputError, match="damaged"):
            read_book(str(path))


def test_a_book_that_cannot_be_written(tmp_path):
    with (
        pytest.raises(OutputError, match="can't be written"),
        locked(str(tmp_path / "nowhere" / "b.jsonl")),
    ):
        pass


def test_two_refits_at_once_take_turns(tmp_path):
    """Each adds to what the other wrote: neither is lost, none counts from the other's start."""
    path = tmp_path / "b.jsonl"

    def one(number):
        with locked(str(path)):
            held = read_book(str(path))
            time.sleep(0.05)
            add_entries(held, [refitted(len(held.entries) + 1, take=number / 10)])

    turns = [threading.Thread(target=one, args=(n,)) for n in range(1, 6)]
    for turn in turns:
        turn.start()
    for turn in turns:
        turn.join()
    assert [e.number for e in read_book(str(path)).entries] == [1, 2, 3, 4, 5]


def test_a_book_held_for_long_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(book, "_LOCK_SECONDS", 0.1)
    path = str(tmp_path / "b.jsonl")
    with (
        locked(path),
        pytest.raises(RefusedError, match="another refit of this job is at work"),
        locked(path),
    ):
        pass
    assert not (tmp_path / "b.jsonl").exists()  # made for the lock alone


def test_an_older_log_is_refused_in_words(tmp_path):
    refuse_old_log(str(tmp_path / "job.toml"))
    (tmp_path / "job.refits.jsonl").write_text("{}\n")
    with pytest.raises(InputError, match=r"log of an older version.*move it away"):
        refuse_old_log(str(tmp_path / "job.toml"))


def test_which_refits_count():
    a, b = (readings("a"), refitted(1)), (readings("b"), refitted(2))
    assert calls_of((*CALL, *b)) == (CALL, b)
    assert calls_of((readings("a"), readings("b"), refitted(1))) == (
        (readings("a"),),
        (readings("b"), refitted(1)),
    )
    again = (*a[:1], refitted(1, take=0.1))
    assert standing_calls((*CALL, *b, readings("b"), refitted(2, take=0.3)))[1] == (
        readings("b"),
        refitted(2, take=0.3),
    )
    assert standing_calls((*a, *again)) == (again,)
    assert without_not_cut((*CALL, NotCut(), *b)) == (NUT, SADDLE, readings("a"), *b)
    assert without_not_cut((NUT, NotCut())) == (NUT,)


def test_of_a_refit_cut_on_one_part_the_other_counts():
    whole = refitted(1)
    assert any(whole.nut.values())
    assert whole.trim != "nothing"
    (nut_alone,) = without_not_cut((whole, NotCut(part="saddle")))
    assert (nut_alone.nut, nut_alone.top, nut_alone.widths) == (whole.nut, whole.top, whole.widths)
    assert set(nut_alone.saddle.values()) == {0.0}
    assert (nut_alone.trim, nut_alone.bottom_left, nut_alone.bottom_right) == ("nothing", 0.0, 0.0)
    (saddle_alone,) = without_not_cut((whole, NotCut(part="nut")))
    assert (saddle_alone.saddle, saddle_alone.trim) == (whole.saddle, whole.trim)
    assert set(saddle_alone.nut.values()) == {0.0}
    assert without_not_cut((nut_alone, NotCut(part="nut"))) == ()
