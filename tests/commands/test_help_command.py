"""What tells a maker how to go on: help, completion, the last lines of each command."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from blankcam import __version__
from blankcam.inputs.job import KINDS
from tests.commands.test_refit_command import READINGS
from tests.conftest import STEEL
from tests.installed import COMMAND, refused, run

NAMES = (
    "start",
    "layout",
    "make",
    "dxf",
    "gcode",
    "preview",
    "refit",
    "batch",
    "prove",
    "machines",
    "coupon",
)


def complete(typed, **environment):
    words = ["blankcam", *typed.split(" ")]
    done = run(COMP_WORDS=" ".join(words), COMP_CWORD=str(len(words) - 1),
               _BLANKCAM_COMPLETE="complete_bash", **environment)  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


@pytest.mark.parametrize("name", NAMES)
def test_every_help_ends_with_an_example_that_can_be_typed(name):
    said = run(name, "--help", COLUMNS="40").stdout.splitlines()
    assert said[-2].strip() == "Example:"
    words = shlex.split(said[-1])
    assert words[:2] == ["blankcam", name]
    options = {w for w in words if w.startswith("--")}
    whole = run(name, "--help", COLUMNS="100").stdout
    assert all(re.search(rf"^  {option}\b", whole, re.MULTILINE) for option in options)


@pytest.mark.long
def test_the_examples_work_as_they_stand(tmp_path):
    for name in ("start", "layout", "dxf", "machines"):
        example = run(name, "--help").stdout.splitlines()[-1]
        done = run(*shlex.split(example)[1:], cwd=tmp_path)
        assert done.returncode == 0, (example, done.stderr)


def test_help_names_every_command_and_how_to_begin():
    said = run("--help").stdout
    assert all(re.search(rf"^  {name}  ", said, re.MULTILINE) for name in NAMES)
    assert "Begin with: blankcam start" in said
    (folder,) = re.findall(r"^ *Documentation: (.+)$", said, re.MULTILINE)
    assert {"job-file.md", "findings.md"} <= {p.name for p in Path(folder.strip()).iterdir()}
    assert run().stdout == said
    assert all(kind in run("start", "--help").stdout for kind in KINDS)
    refused(run("start"), 2, "FILE.*see blankcam start --help")
    assert run("--version").stdout == f"blankcam {__version__}\n"
    module = [sys.executable, "-m", "blankcam", "--version"]
    assert subprocess.check_output(module, text=True) == f"blankcam {__version__}\n"


def test_the_shell_completes_commands_options_kinds_and_machines():
    assert complete("ma") == ["make", "machines"]
    assert "--stage" in complete("make x.toml --")
    assert complete("start x.toml --like ") == list(KINDS)
    assert complete("make x.toml --machine bench") == ["bench-mill"]
    assert complete("layout x.toml --stage f") == ["final"]


def test_completion_installs_itself(tmp_path):
    env = os.environ | {"HOME": str(tmp_path)}
    done = subprocess.run(
        ["bash", "-c", f"{COMMAND} --install-completion; {COMMAND} --show-completion; exit 0"],
        env=env, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert "complete -o default -F _blankcam_completion blankcam" in done.stdout
    assert list((tmp_path / ".bash_completions").glob("blankcam*"))


def last(done, title="Next\n"):
    assert done.returncode == 0, done.stderr
    assert title in done.stdout
    return " ".join(done.stdout.rsplit(title, 1)[1].split())  # wherever its lines broke


def test_layout_ends_with_what_to_do_next(tmp_path):
    assert "read the cautions" in last(run("layout", STEEL))
    few = tmp_path / "a job.toml"
    few.write_text('[instrument]\nname = "x"\nkind = "banjo"\n')
    assert "measure what" in last(run("layout", few))
    hand = last(run("layout", "a job.toml", "--machine", "hand-bench", cwd=tmp_path))
    assert "blankcam make 'a job.toml' --out cuts --machine hand-bench which writes" in hand
    assert "programs" not in hand
    assert "programs" in last(run("layout", few, "--machine", "light-router"))


@pytest.mark.long
def test_make_and_refit_end_with_what_to_do_next(tmp_path):
    done = run("make", STEEL, "--out", tmp_path / "cuts", "--machine", "hand-bench")
    told = last(done, "next: ")
    assert "sheet.pdf at 100 %" in told
    assert "air program" not in told
    assert "blankcam refit" in told
    for path in re.findall(r"\S+\.(?:html|md|pdf)", told):
        assert os.path.isfile(path), path  # noqa: PTH113
    (tmp_path / "readings.toml").write_text(READINGS)
    job = tmp_path / "job.toml"
    shutil.copy(STEEL, job)
    told = last(run("refit", job, tmp_path / "readings.toml", "--out", tmp_path / "final"))
    assert "refit.md" in told
    assert "air program" in told
