"""``start``, asked and unasked, through the installed command."""

import contextlib
import os
import pty
import re
import select
import signal
import subprocess
import sys

import pytest

from blankcam.inputs.interview import SUFFIX
from blankcam.inputs.job import KINDS
from tests.installed import COMMAND, refused, run

# Ctrl-C reaches only whom the terminal belongs to, and who does not ignore it: what is started
# in the background of a shell without job control does, and so does all that it starts
OWN_TERMINAL = """
import fcntl, os, signal, sys, termios
signal.signal(signal.SIGINT, signal.SIG_DFL)
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.argv[1], sys.argv[1:])
"""


def ask(folder, said, *more):
    return run("start", "my job.toml", "--ask", *more, said=said, cwd=folder)


def test_a_job_that_was_asked_for_makes_as_it_stands(tmp_path):
    done = ask(tmp_path, "ukulele\n" + "\n" * 60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.endswith("then: blankcam layout 'my job.toml'\n")
    assert os.listdir(tmp_path) == ["my job.toml"]  # noqa: PTH208
    made = run("make", "my job.toml", "--out", "cuts", cwd=tmp_path)
    assert made.returncode == 0, made.stderr


def test_a_wrong_answer_is_told_and_asked_again(tmp_path):
    done = ask(tmp_path, "bass\n\n864\n34 in\n" + "\n" * 60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\ninstrument.scale\n") == 2
    assert "has no unit" in done.stdout
    assert 'scale = "34 in"' in (tmp_path / "my job.toml").read_text()


@pytest.mark.parametrize("end", ["q\n", ""])
def test_broken_off_and_taken_up_again(end, tmp_path):
    done = ask(tmp_path, "mandolin\nLarkfield 9\n" + end)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "--ask" in done.stderr
    assert os.listdir(tmp_path) == ["my job.toml" + SUFFIX]  # noqa: PTH208
    more = ask(tmp_path, "\n" * 80)
    assert more.returncode == 0, more.stderr
    assert "Answers so far, 2," in more.stdout
    assert "instrument.kind\n" not in more.stdout
    assert 'name = "Larkfield 9"' in (tmp_path / "my job.toml").read_text()


@pytest.mark.long
def test_begun_anew_and_gone_back(tmp_path):
    ask(tmp_path, "mandolin\nLarkfield 9\n")
    done = ask(tmp_path, "n\nbanjo\nOne\nb\nTwo\n" + "\n" * 60)
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "my job.toml").read_text()
    assert 'kind = "banjo"' in text
    assert 'name = "Two"' in text


def test_broken_off_at_the_terminal_by_its_keys(tmp_path):
    for key in ("\x03", "\x04"):
        ours, theirs = pty.openpty()
        child = subprocess.Popen(
            [sys.executable, "-c", OWN_TERMINAL, COMMAND, "start", "j.toml", "--ask", "--like", "bass"],
            cwd=tmp_path, stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip
        os.close(theirs)
        seen = b""
        for due, typed in ((b"[my bass] ", "Rook 4\n"), (b"[864 mm] ", key)):
            while due not in seen:
                assert select.select([ours], [], [], 20)[0], seen
                seen += os.read(ours, 4096)
                if b"from them" in seen and b"again: " in seen:
                    os.write(ours, b"n\n")
                    seen = b""
            os.write(ours, typed.encode())
        # between the prompt and Python's read a signal is noted but wakes nobody: press again
        for _ in range(20):
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(timeout=2)
                break
            os.write(ours, key.encode())
        child.kill()
        _, told = child.communicate()
        assert child.returncode == 2
        os.close(ours)
        assert re.fullmatch(
            r"j\.toml: not written: the questions were broken off; the answers so far are kept .*\n",
            told.decode(),
        )
        assert "Rook 4" in (tmp_path / ("j.toml" + SUFFIX)).read_text()


def test_a_stop_from_outside_keeps_the_answers(tmp_path):
    child = subprocess.Popen(
        [COMMAND, "start", "j.toml", "--ask"], cwd=tmp_path, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1,
    )  # fmt: skip
    child.stdin.write("banjo\n")
    kept = tmp_path / ("j.toml" + SUFFIX)
    while not kept.exists():
        assert child.poll() is None
    child.send_signal(signal.SIGKILL)
    child.communicate()
    assert '"banjo"' in kept.read_text()


def test_what_stands_there_already_is_told_before_anything_is_asked(tmp_path):
    (tmp_path / "my job.toml").write_text("mine")
    refused(ask(tmp_path, "\n" * 60), 2, "already exists")
    assert (tmp_path / "my job.toml").read_text() == "mine"
    assert ask(tmp_path, "\n" * 60, "--force").returncode == 0


def test_a_blank_too_small_is_told_when_the_job_is_written(tmp_path):
    answers = ["steel-string", *[""] * 19, "41 mm", *[""] * 60]
    done = ask(tmp_path, "\n".join(answers))
    assert done.returncode == 0, done.stderr
    assert "not to be cut so yet" in done.stdout
    assert "blanks.nut.length" in done.stdout.split("wrote ")[1]


def test_neither_kind_nor_ask_is_one_line_with_the_fix(tmp_path):
    refused(run("start", "x.toml", cwd=tmp_path), 2, "--ask")
    refused(run("start", "x.toml", "--like", "lute", cwd=tmp_path), 2, KINDS[0])
    refused(run("start", "no/x.toml", "--like", "bass", cwd=tmp_path), 2, "no such file")


@pytest.mark.long
def test_any_answer_can_be_changed_in_the_list_at_the_end(tmp_path):
    done = ask(tmp_path, "ukulele\n" + "\n" * 40)
    (tmp_path / "my job.toml").unlink()
    count = int(re.findall(r"^ *(\d+)  plan\.machine", done.stdout, re.MULTILINE)[-1])
    done = ask(tmp_path, "ukulele\n" + "\n" * (count - 1) + "2\nRook 4\n99\n3\nlong\n3\n14 in\n\n")
    assert done.returncode == 0, done.stderr
    assert "there is no answer 99" in done.stdout
    assert "not a length" in done.stdout
    text = (tmp_path / "my job.toml").read_text()
    assert 'name = "Rook 4"' in text
    assert 'scale = "14 in"' in text


def test_the_list_is_there_at_every_question(tmp_path):
    done = ask(tmp_path, "bass\nFirst\nlist\n2\nSecond\n" + "\n" * 60)
    assert done.returncode == 0, done.stderr
    assert 'name = "Second"' in (tmp_path / "my job.toml").read_text()


def test_a_second_talk_about_the_same_file_is_told_and_no_answer_is_lost(tmp_path):
    first = subprocess.Popen(
        [COMMAND, "start", "my job.toml", "--ask"], cwd=tmp_path, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1,
    )  # fmt: skip
    first.stdin.write("banjo\n")
    kept = tmp_path / ("my job.toml" + SUFFIX)
    while not kept.exists():
        assert first.poll() is None
    before = kept.read_text()
    second = ask(tmp_path, "\nbass\n")
    assert second.returncode == 1
    assert "another start --ask" in second.stderr
    assert kept.read_text() == before
    said, _ = first.communicate("Rook 5\n" + "\n" * 60, timeout=60)
    assert first.returncode == 0, said
    assert 'name = "Rook 5"' in (tmp_path / "my job.toml").read_text()
    assert os.listdir(tmp_path) == ["my job.toml"]  # noqa: PTH208
