"""A folder of results under hard knocks: an old good set or a whole new one, never a mix."""

import errno
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from blankcam import output_folder
from blankcam.faults import OutputError

WRITER = """
import sys
from blankcam import output_folder as folder
out, tag, rounds = sys.argv[1], sys.argv[2], int(sys.argv[3])
for i in range(rounds):
    body = (tag + str(i)).encode() * 20000
    try:
        folder.write(out, {f"{n}.txt": body for n in range(6)})
    except folder.OutputError as fault:
        print(fault)
"""


def whole(out):
    """The set's one content; fails where files of two sets, or half a set, stand together."""
    names = {p.name for p in out.iterdir()} - {output_folder.LIST_NAME}
    assert names == {f"{n}.txt" for n in range(6)}
    contents = {(out / name).read_bytes() for name in names}
    assert len(contents) == 1
    return contents.pop()


def start(out, tag, rounds):
    return subprocess.Popen([sys.executable, "-c", WRITER, str(out), tag, str(rounds)])


@pytest.mark.long
def test_killed_at_any_moment_a_whole_set_stands(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {f"{n}.txt": b"first" for n in range(6)})
    for delay in (0.15, 0.22, 0.3, 0.37, 0.5):
        child = start(out, f"k{delay}", 10_000)
        time.sleep(delay)
        child.send_signal(signal.SIGKILL)
        child.wait()
        whole(out)
    output_folder.write(str(out), {f"{n}.txt": b"last" for n in range(6)}, force=True)
    assert whole(out) == b"last"


def test_two_runs_into_one_folder_never_mix(tmp_path):
    out = tmp_path / "set"
    children = [start(out, tag, 40) for tag in "ab"]
    while any(c.poll() is None for c in children):
        if out.exists():
            # the folder is opened once, so that a swap between two looks is not taken for a mix
            handle = os.open(out, os.O_RDONLY)
            try:
                names = set(os.listdir(handle)) - {output_folder.LIST_NAME}  # noqa: PTH208 - by its handle
                bodies = set()
                for name in names:
                    with open(os.open(name, os.O_RDONLY, dir_fd=handle), "rb") as stream:  # noqa: PTH123
                        bodies.add(stream.read(8))
            except FileNotFoundError:
                continue  # the set we looked at was the old one, on its way out
            finally:
                os.close(handle)
            assert len(bodies) <= 1
    assert whole(out)[:1] in (b"a", b"b")


def test_leftovers_of_killed_runs_are_cleared_away(tmp_path):
    out = tmp_path / "set"
    dead = tmp_path / ".set.new.abc"
    dead.mkdir()
    old = time.time() - 3600
    os.utime(dead, (old, old))
    mine = tmp_path / ".settle"
    mine.mkdir()
    output_folder.write(str(out), {"a": b"1"})
    assert not dead.exists()
    assert mine.exists()


def test_an_old_set_put_aside_by_a_killed_run_comes_back(tmp_path):
    aside = tmp_path / ".set.old.abc"
    (aside / "set").mkdir(parents=True)
    (aside / "set" / "own.txt").write_text("the maker's")
    with pytest.raises(OutputError, match=r"own\.txt"):
        output_folder.write(str(tmp_path / "set"), {"a": b"1"})
    assert (tmp_path / "set" / "own.txt").read_text() == "the maker's"


@pytest.mark.parametrize("one_step", [True, False])
def test_foreign_files_are_refused_then_kept(one_step, tmp_path, monkeypatch):
    if not one_step:
        monkeypatch.setattr(output_folder, "_exchange", lambda *_: False)
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1", "b": b"1"})
    (out / "notes").mkdir()
    (out / "notes" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="notes"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"1"
    output_folder.write(str(out), {"a": b"2"}, force=True)
    assert (out / "a").read_bytes() == b"2"
    assert not (out / "b").exists()
    assert (out / "notes" / "mine.txt").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


def test_a_file_changed_by_hand_is_the_makers(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    (out / "a").write_bytes(b"edited")
    with pytest.raises(OutputError, match="changed by hand"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"edited"


def test_a_full_disk_loses_nothing(tmp_path, monkeypatch):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(output_folder, "_fill", full)
    with pytest.raises(OutputError, match="no space left"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"1"
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


def test_places_that_can_not_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    for bad in ("file", "file/below", "a\x00b", "/proc/nowhere/set", "x" * 300):
        with pytest.raises(OutputError):
            output_folder.write(
                str(tmp_path / bad) if not bad.startswith("/") else bad, {"a": b"1"}
            )
    assert (tmp_path / "file").read_text() == "x"


def test_the_folder_you_stand_in_is_not_changed_as_a_whole(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(OutputError, match="where you stand"):
        output_folder.write(".", {"a": b"1"})


def test_a_damaged_list_makes_every_file_the_makers(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    for damage in ("", "[]", "{", json.dumps({"files": 3}), "[" * 100_000):
        (out / output_folder.LIST_NAME).write_text(damage)
        with pytest.raises(OutputError, match=r"not written by this tool|changed by hand"):
            output_folder.write(str(out), {"a": b"2"})


def test_the_stamp_tells_a_whole_unchanged_set(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"}, stamp="s")
    assert output_folder.stands(str(out), "s")
    assert not output_folder.stands(str(out), "t")
    (out / "a").write_bytes(b"2")
    assert not output_folder.stands(str(out), "s")
    assert not output_folder.stands(str(tmp_path / "none"), "s")
