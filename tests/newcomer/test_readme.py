"""What the README shows is what the commands print today."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import REPO

COMMAND = Path(sys.executable).with_name("blankcam")
README = (REPO / "README.md").read_text(encoding="utf-8")


def shown(name):
    """The block of output that a marker names, as lines."""
    found = re.search(rf"<!-- output: {name} -->\n```\n(.*?)```", README, re.DOTALL)
    assert found, name
    return found[1].splitlines()


def said(*args):
    done = subprocess.run(
        [COMMAND, *args], capture_output=True, text=True, timeout=120, check=False, cwd=REPO,
        env=os.environ | {"COLUMNS": "100"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [line.rstrip() for line in done.stdout.splitlines()]


def test_the_output_of_make_is_real(tmp_path):
    real = said("make", "demo_jobs/concert-steel.toml", "--out", str(tmp_path / "concert-steel"))
    real = [line.replace(str(tmp_path), "out") for line in real]
    assert shown("make") == real


def test_the_part_of_a_layout_is_real():
    real = "\n".join(said("layout", "demo_jobs/concert-steel.toml"))
    block = "\n".join(shown("layout"))
    assert len(block) > 1000
    assert block in real


def test_the_two_commands_are_one_line_each_and_make_their_own_environment():
    commands = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)
    assert len(commands) == 2
    assert "blankcam make demo_jobs/" in commands[0]
    assert "pytest" in commands[1]


@pytest.mark.parametrize("name", re.findall(r"\]\((\.pictures/[^)]+)\)", README))
def test_its_pictures_are_there(name):
    assert (REPO / name).stat().st_size < 400_000


def test_every_command_it_names_exists():
    help_text = "\n".join(said("--help"))
    for name in set(re.findall(r"`blankcam ([a-z]+)", README)):
        assert name in help_text, name
