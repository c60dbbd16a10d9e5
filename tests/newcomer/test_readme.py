"""What the papers show is what the commands print today, and what they name is there."""

import re

import pytest

from tests.conftest import REPO
from tests.newcomer import papers
from tests.newcomer.papers import DOCS, PAPERS, README, said

TEXT = README.read_text(encoding="utf-8")
WORDS = (500, 700)
OUTPUTS = [
    pytest.param(
        paper,
        name,
        id=f"{paper.stem}-{name}",
        marks=() if paper.stem == "README" else pytest.mark.long,
    )
    for paper in PAPERS
    for _, name, _ in papers.OUTPUT.findall(paper.read_text(encoding="utf-8"))
]


def test_there_is_output_to_hold_to():
    assert {tuple(p.values[1:]) for p in OUTPUTS} == {(name,) for name in papers.SHOWN}


@pytest.mark.parametrize(("paper", "name"), OUTPUTS)
def test_the_output_shown_is_real(paper, name, tmp_path):
    """If the program's words have changed: ``python -m tests.newcomer.papers``."""
    blocks = {n: text for _, n, text in papers.OUTPUT.findall(paper.read_text(encoding="utf-8"))}
    shown = blocks[name].splitlines()
    real = papers.SHOWN[name](tmp_path)
    assert len(shown) >= 5
    assert shown == (real[: len(shown)] if paper == README else real)


def test_readme_is_short():
    assert WORDS[0] <= len(TEXT.split()) <= WORDS[1]


def test_the_two_commands_are_one_line_each_and_make_their_own_environment():
    commands = re.findall(r"^python3 -m venv .*$", TEXT, re.MULTILINE)
    assert len(commands) == 2
    assert "blankcam make demo_jobs/" in commands[0]
    assert "pytest" in commands[1]


def test_readme_leads_to_every_paper():
    linked = set(re.findall(r"\]\(([^)]+\.md)\)", TEXT))
    assert linked == {str(p.relative_to(REPO)) for p in PAPERS[1:]}


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.stem)
def test_what_a_paper_links_to_is_there(paper):
    text = paper.read_text(encoding="utf-8")
    for name in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        target = paper.parent / name
        assert target.is_file(), name
        assert target.stat().st_size < 400_000, name
    if paper.parent == DOCS:  # the docs are shipped without what lies around them
        assert "](.." not in text


@pytest.fixture(scope="module")
def helps():
    """The help of every command, by name; of blankcam itself as the empty one."""
    first = "\n".join(said("--help"))
    names = re.findall(r"^  ([a-z]+)  ", first, re.MULTILINE)
    return {"": first} | {name: "\n".join(said(name, "--help")) for name in names}


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.stem)
def test_every_command_and_option_a_paper_names_exists(paper, helps):
    text = paper.read_text(encoding="utf-8")
    for name, rest in re.findall(r"`blankcam ([a-z]+)([^`]*)`", text):
        assert name in helps, name
        for option in re.findall(r"--[a-z]+", rest):
            assert re.search(rf"^  {option}\b", helps[name], re.MULTILINE), (name, option)


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.stem)
def test_every_file_of_ours_that_a_paper_names_exists(paper):
    text = paper.read_text(encoding="utf-8")
    rooms = (REPO, REPO / "blankcam")
    for name in set(re.findall(r"`((?:[a-z_]+/)+(?:[\w.-]+\.\w+)?)`", text)):
        if any((room / name.split("/")[0]).is_dir() for room in rooms):
            assert any((room / name).exists() for room in rooms), name
