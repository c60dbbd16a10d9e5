"""Terminals, pipes, locales, folders and disks as they come: a line, an exit code, nothing lost."""

import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from blankcam.faults import InputError
from blankcam.inputs.border import read_text
from blankcam.inputs.machine_file import read_profile
from blankcam.workflows.prove import program_bytes
from tests.conftest import STEEL, first_then_long, needed
from tests.installed import COMMAND, refused, run

FOREIGN = 'Lärkfält 3 – "å" ♭'


@pytest.fixture
def job(tmp_path):
    text = Path(STEEL).read_text(encoding="utf-8").replace("Quillmere concert 11", "Lärkfält – ♭")
    (tmp_path / "jöb.toml").write_text(text, encoding="utf-8")
    return tmp_path / "jöb.toml"


@pytest.mark.parametrize(
    "environment",
    first_then_long([
        {"PYTHONIOENCODING": "latin-1"}, {"TERM": "dumb", "NO_COLOR": "1", "HOME": ""},
        {"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"COLUMNS": "20"}, {"COLUMNS": "9" * 30},
    ], first=1),
    ids=lambda e: " ".join(f"{k}={v[:9]}" for k, v in e.items()),
)  # fmt: skip
def test_a_layout_in_any_terminal(environment, job):
    env = os.environ | environment
    env.pop("HOME" if environment.get("HOME") == "" else "NO_SUCH", None)
    done = subprocess.run(
        [COMMAND, "layout", job], capture_output=True, timeout=60, check=False, env=env
    )
    assert (done.returncode, done.stderr) == (0, b"")
    codec = environment.get("PYTHONIOENCODING", "ascii" if "LANG" in environment else "utf-8")
    said = done.stdout.decode(codec)
    assert "1.422" in said
    assert "\x1b" not in said
    wide = int(environment["COLUMNS"]) if environment.get("COLUMNS") == "20" else 100
    # one word, a path perhaps, stays whole so that it can be copied, and so does what is typed next
    lines = said.split("\nNext\n")[0].splitlines()
    assert not [line for line in lines if len(line) > wide and len(line.split()) > 1]


@pytest.mark.long
def test_a_narrow_terminal_breaks_no_number():
    wide, narrow = (run("layout", STEEL, COLUMNS=c).stdout for c in ("130", "24"))
    numbers = re.compile(r"\d+\.\d+")
    assert sorted(numbers.findall(narrow)) == sorted(numbers.findall(wide))


@pytest.mark.long
def test_files_and_messages_where_letters_are_missing(job, tmp_path):
    plain = {"PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"}
    done = run("preview", job, "--out", tmp_path / "lök", "--machine", "hand-bench", **plain)
    assert done.returncode == 0, done.stderr
    assert "Lärkfält – ♭" in (tmp_path / "lök" / "preview.html").read_text(encoding="utf-8")
    job.write_text('[instrument]\nname = "x"\nkind = "lüte ♭"\n', encoding="utf-8")
    refused(run("layout", job, **plain), 2, r"instrument\.kind")


def test_started_files_are_utf8_where_the_locale_is_not(tmp_path):
    done = subprocess.run(
        [COMMAND, "start", "j.toml", "--ask"], input=f"bass\n{FOREIGN}\n".encode() + b"\n" * 60,
        capture_output=True, timeout=60, check=False, cwd=tmp_path,
        env=os.environ | {"PYTHONIOENCODING": "utf-8", "LC_ALL": "C", "PYTHONUTF8": "0"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = tomllib.loads((tmp_path / "j.toml").read_text(encoding="utf-8"))
    assert found["instrument"]["name"] == FOREIGN


@pytest.mark.long
def test_a_locale_with_comma_decimals_changes_no_number(tmp_path):
    made = subprocess.run(
        ["localedef", "-i", "de_DE", "-f", "UTF-8", tmp_path / "de_DE.UTF-8"], check=False
    ) if shutil.which("localedef") else None  # fmt: skip
    needed(made is not None and made.returncode == 0, "a locale with comma decimals")
    code = """
import locale, sys
locale.setlocale(locale.LC_ALL, "de_DE.UTF-8")
assert locale.localeconv()["decimal_point"] == ","
sys.argv[1:] = ["layout", {job!r}, "--json"]
from blankcam.cli import run_cli
run_cli()
"""
    done = subprocess.run(
        [sys.executable, "-c", code.format(job=str(STEEL))], capture_output=True, text=True, timeout=60,
        check=False, env=os.environ | {"LOCPATH": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout == run("layout", STEEL, "--json").stdout


@pytest.mark.parametrize(
    "args", first_then_long([(("layout",),), (("make", "--machine", "hand-bench", "--out"),)])
)
def test_on_twenty_columns_only_what_is_copied_is_wider(args, tmp_path):
    """A command to type, and a word that is longer than the line, such as a path."""
    words = [args[0], STEEL, *args[1:], *([tmp_path / "o"] if len(args) > 1 else [])]
    said = run(*words, COLUMNS="20").stdout.splitlines()
    assert len(said) > 10
    wide = [s for s in said if len(s) > 20 and "blankcam " not in s and len(s.split()) > 1]
    assert not wide


@pytest.mark.long
def test_bad_input_is_2_even_where_nobody_can_be_told(tmp_path):
    (tmp_path / "bad.toml").write_text("x")
    for words in (
        f"layout {tmp_path}/bad.toml",
        "nosuch",
        f"make {tmp_path}/none --out {tmp_path}/o",
    ):
        for shell in ("2>/dev/full", "2>&-", ">/dev/full 2>/dev/full", ">&- 2>&-"):
            done = subprocess.run(
                ["bash", "-c", f"{COMMAND} {words} {shell}"], check=False, timeout=60
            )
            assert done.returncode == 2, (words, shell)


@pytest.mark.long
def test_proving_a_pipe_says_what_it_is(tmp_path):
    os.mkfifo(tmp_path / "p.ngc")
    refused(run("prove", tmp_path / "p.ngc", "--job", STEEL), 2, r"p\.ngc: is a pipe, not a file")
    refused(run("prove", tmp_path, "--job", STEEL), 2, r"is a folder, not a file")
    refused(run("prove", tmp_path / "q.ngc", "--job", STEEL), 2, r"there is no such file")


@pytest.mark.parametrize("args", first_then_long([(("--version",),), (("layout", STEEL),)]))
def test_nobody_listens(args):
    """A reader that leaves, a full device, closed streams: no traceback, and never "refused"."""
    for shell in ("| head -c 1", "> /dev/full", ">&- 2>&-", "< /dev/null"):
        line = f'set -o pipefail; "$@" {shell}'
        done = subprocess.run(
            ["bash", "-c", line, "-", COMMAND, *args], capture_output=True, text=True, timeout=60, check=False
        )  # fmt: skip
        assert done.returncode in (0, 2), (shell, done.returncode)
        assert "Traceback" not in done.stderr
        assert "Exception" not in done.stderr
        assert len(done.stderr.splitlines()) == (1 if "full" in shell else 0), done.stderr


def test_a_disk_that_fills_up_leaves_the_old_set(tmp_path):
    """A limit on the size of files stands for a full disk: the same writes fail part-way."""
    out = tmp_path / "look"
    assert run("dxf", STEEL, "--out", out).returncode == 0
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    for limit in (9,):
        done = subprocess.run(
            ["bash", "-c", f'trap "" XFSZ; ulimit -f {limit}; exec "$@"', "-", COMMAND,
             "dxf", STEEL, "--out", out, "--stage", "final"],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        refused(done, 2, r"can't be written \(file too large\)")
        assert len(done.stderr.splitlines()) == 1
        assert {p.name: p.read_bytes() for p in out.iterdir()} == before
        assert [p.name for p in tmp_path.iterdir()] == ["look"]


def test_where_nothing_may_be_written():
    for out in ("/proc/cuts", "/dev/null"):
        refused(run("dxf", STEEL, "--out", out), 2, r".")
    refused(run("start", "/proc/j.toml", "--like", "bass"), 2, r"can't be written")


def test_a_folder_that_vanishes_underfoot(tmp_path):
    code = (
        "import os, shutil, sys; os.mkdir('here'); os.chdir('here'); shutil.rmtree('../here');"
        " os.execv(sys.argv[1], sys.argv[1:])"
    )
    for args in (
        ("dxf", STEEL, "--out", "cuts"),
        ("start", "j.toml", "--like", "bass"),
        ("layout", "j.toml"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, COMMAND, *args], cwd=tmp_path, capture_output=True, text=True,
            timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 2, (args, done.stderr)
        assert len(done.stderr.splitlines()) == 1, done.stderr
        assert "fault of the program itself" not in done.stderr


@pytest.mark.long
def test_a_batch_whose_summary_cannot_be_written_still_tells_what_was_made(tmp_path):
    (tmp_path / "jobs").mkdir()
    for i in range(4):
        shutil.copy(STEEL, tmp_path / "jobs" / f"job{i}.toml")
    out = tmp_path / "out"
    child = subprocess.Popen(
        [COMMAND, "batch", tmp_path / "jobs", "--out", out, "--machine", "hand-bench", "--jobs", "1"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    end = time.monotonic() + 60
    while not (out / "job0").exists() and child.poll() is None and time.monotonic() < end:
        time.sleep(0.01)
    (out / "summary.csv").mkdir()  # in the place where the summary is to be written at the end
    shown, told = child.communicate(timeout=120)
    assert child.returncode == 2
    assert "summary.csv" in told
    assert len(told.splitlines()) == 1
    assert "4 jobs: 4 made" in shown
    assert "summary" not in shown


def test_the_parent_vanishes_while_it_is_written(tmp_path):
    from blankcam import output_folder, transaction

    parent = tmp_path / "p"
    write_new = transaction._write_new

    def gone(*args):
        shutil.rmtree(parent)
        write_new(*args)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(transaction, "_write_new", gone)
        with pytest.raises(output_folder.OutputError, match="no such file"):
            output_folder.write(str(parent / "set"), {"a": b"1"})


@pytest.mark.long
def test_killed_at_random_moments_the_command_leaves_a_whole_set(tmp_path):
    """Old or new, by the list of digests that lies in the set itself."""
    from blankcam import output_folder

    out = tmp_path / "set"
    assert run("dxf", STEEL, "--out", out).returncode == 0
    for i, delay in enumerate((0.5, 0.8, 1.1)):
        child = subprocess.Popen(
            [COMMAND, "dxf", STEEL, "--out", out, "--stage", "final" if i % 2 else "rough"],
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        time.sleep(delay)
        child.kill()
        child.wait()
        assert output_folder.stands(str(out), ""), delay
        text = {(out / n).read_bytes().count(b"stage final") > 0 for n in ("nut.dxf", "saddle.dxf")}
        assert len(text) == 1


def test_pipes_devices_and_endless_files_are_told(tmp_path):
    fifo = tmp_path / "pipe.toml"
    os.mkfifo(fifo)
    endless = tmp_path / "endless.toml"
    endless.symlink_to("/dev/zero")
    large = tmp_path / "large.toml"
    with large.open("wb") as stream:
        stream.truncate(3_000_000_000)
    for path in (fifo, endless, large):
        for read in (read_text, read_profile, program_bytes):
            with pytest.raises(
                InputError, match=r"not a file|bytes long|too many for|no such file"
            ):
                read(str(path))
    refused(run("machines", fifo), 2, "not a file")
    refused(run("refit", STEEL, fifo, "--out", tmp_path / "o"), 2, "not a file")
    assert not (tmp_path / "o").exists()
