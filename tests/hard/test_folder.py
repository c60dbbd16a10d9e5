"""A folder of results under hard knocks: an old good set or a whole new one, never a mix."""

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time

import pytest

from blankcam import output_folder, transaction
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
        output_folder.check(str(out))  # as any next run begins
        whole(out)
    output_folder.write(str(out), {f"{n}.txt": b"last" for n in range(6)}, force=True)
    assert whole(out) == b"last"


def test_two_runs_into_one_folder_never_mix(tmp_path):
    out = tmp_path / "set"
    children = [start(out, tag, 12) for tag in "ab"]
    while any(c.poll() is None for c in children):
        if out.exists():
            with transaction.locked(out, patience=20):  # a look between two runs, not into one
                if any(out.iterdir()):
                    whole(out)
    assert whole(out)[:1] in (b"a", b"b")


def test_leftovers_of_killed_runs_are_cleared_away(tmp_path):
    out = tmp_path / "set"
    out.mkdir()
    (out / f"{transaction.STAGED}1234.0").write_bytes(b"half")
    (out / ".settle").write_bytes(b"mine")
    output_folder.write(str(out), {"a": b"1"}, force=True)
    assert {p.name for p in out.iterdir()} == {"a", ".settle", output_folder.LIST_NAME}


def test_foreign_files_are_refused_then_kept(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1", "b": b"1"})
    (out / "notes").mkdir()
    (out / "notes" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"notes \(a folder\)"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"1"
    output_folder.write(str(out), {"a": b"2"}, force=True)
    assert (out / "a").read_bytes() == b"2"
    assert not (out / "b").exists()
    assert (out / "notes" / "mine.txt").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


# --- what is not ours ---


APPENDER = """
import sys
with open(sys.argv[1], "a") as log:
    for i in range(100_000):
        log.write(f"{i}\\n")
        log.flush()
        if sys.stdin in __import__("select").select([sys.stdin], [], [], 0.0005)[0]:
            break
print(i + 1)
"""


def test_lines_that_another_program_appends_meanwhile_are_kept(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    log = out / "log.txt"
    other = subprocess.Popen(
        [sys.executable, "-c", APPENDER, log], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    for i in range(40):
        output_folder.write(str(out), {"a": str(i).encode()}, force=True)
    written = int(other.communicate(b"\n")[0])
    assert [int(line) for line in log.read_text().splitlines()] == list(range(written))


def test_owner_rights_links_and_identity_of_folder_and_files_are_kept(tmp_path):
    out, elsewhere = tmp_path / "set", tmp_path / "elsewhere.txt"
    output_folder.write(str(out), {"a": b"1"})
    out.chmod(0o2700)
    elsewhere.write_text("mine")
    os.link(elsewhere, out / "mine.txt")
    os.link(out / "a", tmp_path / "old-a")
    if os.geteuid() == 0:
        os.chown(out, 1234, 1234)
    before = out.stat()
    output_folder.write(str(out), {"a": b"2"}, force=True)
    after = out.stat()
    for kept in ("st_ino", "st_uid", "st_gid", "st_mode"):
        assert getattr(after, kept) == getattr(before, kept)
    assert (out / "mine.txt").samefile(elsewhere)
    assert (tmp_path / "old-a").read_bytes() == b"1"
    if os.geteuid() == 0:
        assert (out / "a").stat().st_gid == 1234  # as the folder's setgid bit asks


@pytest.mark.parametrize("mask", [0o077, 0o022, 0o002])
def test_new_files_and_folders_have_the_rights_that_umask_gives(mask, tmp_path):
    before = os.umask(mask)
    try:
        output_folder.write(str(tmp_path / "set"), {"a": b"1"})
        output_folder.write_file(str(tmp_path / "job.toml"), b"x")
    finally:
        os.umask(before)
    assert (tmp_path / "set").stat().st_mode & 0o777 == 0o777 & ~mask
    assert (tmp_path / "set" / "a").stat().st_mode & 0o777 == 0o666 & ~mask
    assert (tmp_path / "job.toml").stat().st_mode & 0o777 == 0o666 & ~mask


def opened_by(work):
    """The files that are opened while it works, by their paths."""
    opened, on = [], [True]

    def watch(event, args):
        if on[0] and event == "open":
            opened.append(os.fsdecode(args[0]) if isinstance(args[0], str | bytes) else "")

    sys.addaudithook(watch)
    try:
        work()
    finally:
        on[0] = False
    return opened


def test_what_is_not_ours_is_never_opened(tmp_path):
    """Nor does a huge file, or a changed one of our names, cost time or memory."""
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1", "b": b"1"})
    (out / "mine").mkdir()
    for name in ("mine/x", "huge.bin", "b"):
        with (out / name).open("wb") as stream:
            stream.truncate(40_000_000_000 if name != "mine/x" else 5)
    os.mkfifo(out / "pipe")
    (out / "loop").symlink_to("loop")
    opened = opened_by(lambda: output_folder.write(str(out), {"a": b"2"}, force=True))
    assert any(path.endswith("/a") for path in opened)  # ours: to see whether it was changed
    assert not [p for p in opened if p.endswith(("/x", "huge.bin", "/b", "pipe", "loop"))]
    assert (out / "b").stat().st_size == 40_000_000_000
    with pytest.raises(OutputError, match=r"pipe \(a pipe\)|and more"):
        output_folder.check(str(out))


@pytest.mark.parametrize("kind", ["pipe", "folder"])
def test_a_special_file_in_the_place_of_ours_is_told_by_name(kind, tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    (out / "b").mkdir() if kind == "folder" else os.mkfifo(out / "b")
    for attempt in (
        lambda: output_folder.check(str(out), ["b"], force=True),
        lambda: output_folder.write(str(out), {"a": b"2", "b": b"2"}, force=True),
    ):
        with pytest.raises(OutputError, match=f"set/b: is a {kind}"):
            attempt()
    assert (out / "a").read_bytes() == b"1"


def test_where_no_set_can_be_written_is_told_before_the_work(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "file").write_text("x")
    (tmp_path / "loop").symlink_to("loop")
    for name, words in (
        ("pipe", "is a pipe, not a folder"), ("file", "is a file, not a folder"),
        ("file/below", "not a directory"), ("loop", "too many levels of symbolic links"),
        ("loop/below", "too many levels"), ("a\0b", "null"), ("x" * 300, "name too long"),
    ):  # fmt: skip
        for attempt in (output_folder.check, lambda p: output_folder.check_beside(p, ["a"])):
            with pytest.raises(OutputError, match=words):
                attempt(str(tmp_path / name))
    with pytest.raises(OutputError, match=r"can't be written"):
        output_folder.check("/proc/nowhere/set")


def test_a_list_that_is_a_pipe_or_huge_is_no_list(tmp_path):
    out = tmp_path / "set"
    out.mkdir()
    os.mkfifo(out / output_folder.LIST_NAME)
    for attempt in (output_folder.check, lambda p: output_folder.write(p, {"a": b"1"}, force=True)):
        with pytest.raises(OutputError, match="is a pipe"):
            attempt(str(out))
    (out / output_folder.LIST_NAME).unlink()
    with (out / output_folder.LIST_NAME).open("wb") as stream:
        stream.truncate(40_000_000_000)
    output_folder.write(str(out), {"a": b"1"})
    assert output_folder.stands(str(out), "")


def mounted(tmp_path):
    """A small file system of its own at a folder, or nothing where we may not mount."""
    stick = tmp_path / "stick"
    stick.mkdir()
    mount = shutil.which("mount")
    if mount and subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=1m", "none", stick], check=False, capture_output=True
    ).returncode == 0:  # fmt: skip
        return stick
    return None


def test_the_root_of_a_mounted_file_system(tmp_path):
    if (stick := mounted(tmp_path)) is None:
        pytest.skip("nothing may be mounted here")
    try:
        for content in (b"1", b"2"):
            output_folder.check(str(stick))
            output_folder.write(str(stick), {"a": content})
        assert (stick / "a").read_bytes() == b"2"
        with pytest.raises(OutputError, match="no space left"):  # really full
            output_folder.write(str(stick), {"a": b"3", "b": b"x" * 2_000_000})
        assert (stick / "a").read_bytes() == b"2"
        assert {p.name for p in stick.iterdir()} == {"a", output_folder.LIST_NAME}
    finally:
        subprocess.run(["umount", stick], check=True)


# --- two at once ---


def test_one_run_waits_for_another_or_says_so(tmp_path, monkeypatch):
    out = tmp_path / "set"
    code = "import sys; from blankcam import output_folder as f\nwith f.hold(sys.argv[1]): print('on', flush=True); input()"
    other = subprocess.Popen(
        [sys.executable, "-c", code, out], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout.readline() == "on\n"
    monkeypatch.setattr(output_folder, "PATIENCE", 0.2)
    for attempt in (
        lambda: output_folder.write(str(out), {"a": b"1"}),
        lambda: output_folder.check(str(out)),
        lambda: output_folder.hold(str(out)).__enter__(),
    ):
        with pytest.raises(OutputError, match="another run of blankcam"):
            attempt()
    assert not any(out.iterdir())
    monkeypatch.setattr(output_folder, "PATIENCE", 20)
    threading.Timer(0.5, lambda: other.communicate("\n")).start()
    output_folder.write(str(out), {"a": b"1"})
    assert output_folder.stands(str(out), "")


def test_a_folder_that_is_held_can_be_written_by_its_holder(tmp_path):
    with output_folder.hold(str(tmp_path / "set")):
        output_folder.write(str(tmp_path / "set"), {"a": b"1"})
    assert output_folder.stands(str(tmp_path / "set"), "")


def test_a_file_is_never_written_over_one_that_came_meanwhile(tmp_path, monkeypatch):
    job = tmp_path / "job.toml"
    write_new = transaction._write_new

    def then_the_makers(*args, **kwargs):
        write_new(*args, **kwargs)
        job.write_bytes(b"mine")

    monkeypatch.setattr(transaction, "_write_new", then_the_makers)
    with pytest.raises(OutputError, match="already exists"):
        output_folder.write_file(str(job), b"ours")
    assert job.read_bytes() == b"mine"
    assert [p.name for p in tmp_path.iterdir()] == ["job.toml"]


def test_a_file_that_comes_while_a_set_is_written_stays(tmp_path, monkeypatch):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    settle = transaction._settle_names

    def then_the_makers(folder):
        settle(folder)
        (out / "b").write_bytes(b"mine")

    monkeypatch.setattr(transaction, "_settle_names", then_the_makers)
    with pytest.raises(OutputError, match="b was changed while"):
        output_folder.write(str(out), {"a": b"2", "b": b"2"})
    assert ((out / "a").read_bytes(), (out / "b").read_bytes()) == (b"1", b"mine")


# --- the journal ---


def journal(out, **values):
    good = {"put": {}, "remove": [], "was": {}}
    (out / transaction.JOURNAL).write_text(json.dumps(good | values))


def test_a_journal_never_reaches_outside_its_folder_nor_what_was_changed_since(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    (tmp_path / "mine").write_text("mine")
    staged = transaction.STAGED + "1.0"
    (out / staged).write_text("new")
    for hostile in (
        {"remove": ["../mine"], "was": {"../mine": None}},
        {"put": {"../mine": staged}, "was": {"../mine": None}},
        {"put": {"b": "../mine"}, "was": {"b": None}},
        {"put": {"b": "a"}, "was": {"b": None}},
        {"put": {"a": staged}, "was": {}},
        {"put": {"a": staged}, "was": {"a": [33188, 1, 1]}},
        {"remove": ["a"], "was": {"a": [33188, 1, 1]}},
        {"put": 3},
    ):
        journal(out, **hostile)
        with pytest.raises(OutputError, match=r"damaged|was changed"):
            output_folder.write(str(out), {"a": b"2"}, force=True)
        assert (out / "a").read_bytes() == b"1"
    for text in ("", "[]", "{", "[" * 100_000, "null"):
        (out / transaction.JOURNAL).write_text(text)
        with pytest.raises(OutputError, match="damaged"):
            output_folder.check(str(out))
    assert (tmp_path / "mine").read_text() == "mine"
    (out / transaction.JOURNAL).unlink()  # as the message says
    output_folder.write(str(out), {"a": b"2"})
    assert {p.name for p in out.iterdir()} == {"a", output_folder.LIST_NAME}


def test_a_file_changed_by_hand_is_the_makers(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    (out / "a").write_bytes(b"edited")
    with pytest.raises(OutputError, match="that you changed"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"edited"


def test_a_file_of_the_makers_is_kept_by_force_too_one_of_ours_changed_by_hand_is_not(tmp_path):
    out = tmp_path / "set"
    out.mkdir()
    (out / "nut.dxf").write_bytes(b"mine")
    with pytest.raises(OutputError, match=r"of your own that would be overwritten: nut\.dxf; move"):
        output_folder.write(str(out), {"nut.dxf": b"1"}, force=True)
    assert (out / "nut.dxf").read_bytes() == b"mine"
    (out / "nut.dxf").unlink()
    output_folder.write(str(out), {"nut.dxf": b"1"})
    (out / "nut.dxf").write_bytes(b"edited")
    with pytest.raises(OutputError, match=r"overwritten and that you changed: nut\.dxf"):
        output_folder.check(str(out))
    output_folder.write(str(out), {"nut.dxf": b"2"}, force=True)
    assert (out / "nut.dxf").read_bytes() == b"2"


def test_a_full_disk_loses_nothing(tmp_path, monkeypatch):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(transaction, "_write_new", full)
    with pytest.raises(OutputError, match="no space left"):
        output_folder.write(str(out), {"a": b"2"})
    assert (out / "a").read_bytes() == b"1"
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


def test_places_that_can_not_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is not a name"):
        output_folder.write("", {"a": b"1"})
    for bad in ("file", "file/below", "a\x00b", "/proc/nowhere/set", "x" * 300):
        with pytest.raises(OutputError):
            output_folder.write(
                str(tmp_path / bad) if not bad.startswith("/") else bad, {"a": b"1"}
            )
    assert (tmp_path / "file").read_text() == "x"


def test_the_folder_you_stand_in_is_written_too(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    output_folder.write(".", {"a": b"1"})
    assert output_folder.stands(".", "")


def test_a_damaged_list_makes_every_file_the_makers(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"})
    for damage in ("", "[]", "{", json.dumps({"files": 3}), "[" * 100_000):
        (out / output_folder.LIST_NAME).write_text(damage)
        with pytest.raises(OutputError, match=r"files of your own|that you changed"):
            output_folder.write(str(out), {"a": b"2"})


def test_the_stamp_tells_a_whole_unchanged_set(tmp_path):
    out = tmp_path / "set"
    output_folder.write(str(out), {"a": b"1"}, stamp="s")
    assert output_folder.stands(str(out), "s")
    assert not output_folder.stands(str(out), "t")
    (out / "a").write_bytes(b"2")
    assert not output_folder.stands(str(out), "s")
    assert not output_folder.stands(str(tmp_path / "none"), "s")
