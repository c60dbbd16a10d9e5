"""A command that a prepared process forks does what one started anew does."""

import pytest

from tests.conftest import STEEL, first_then_long
from tests.installed import run

COMMANDS = {
    "machines": ("machines",),
    "layout": ("layout", STEEL, "--json"),
    "make": ("make", STEEL, "--out", "out"),
    "start": ("start", "new.toml", "--like", "bass"),
    "batch": ("batch", STEEL.parent, "--out", "out", "--machine", "hand-bench", "--jobs", "2"),
    "prove": ("prove", STEEL, "missing.ngc"),
    "asked": ("start", "new.toml", "--ask"),
    "unknown": ("nothing",),
}


def left(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix in {".ngc", ".dxf", ".toml"}
    }


@pytest.mark.parametrize("name", first_then_long(COMMANDS, first=2))
def test_as_started_anew(name, tmp_path):
    ended = []
    for each in ("anew", "forked"):
        (tmp_path / each).mkdir()
        ended.append(
            run(
                *COMMANDS[name], cwd=tmp_path / each, said="ukulele\n" + "\n" * 60,
                fresh=each == "anew", COLUMNS="90",
            )
        )  # fmt: skip
    anew, forked = ended
    assert forked.returncode == anew.returncode
    assert (forked.stdout, forked.stderr) == (anew.stdout, anew.stderr)
    assert left(tmp_path / "forked") == left(tmp_path / "anew")


def test_what_one_command_is_given_the_next_one_lacks(tmp_path):
    told = [run("layout", STEEL, COLUMNS=columns).stdout for columns in ("130", "60", "130")]
    assert told[0] == told[2] != told[1]
    assert run("layout", "job.toml", cwd=tmp_path).returncode == 2
