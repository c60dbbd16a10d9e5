"""The papers explain everything that there is to explain: keys, codes of findings, refusals."""

import ast
import json
import re

import pytest
import typer

from blankcam import cli
from blankcam.replay.codes import Code
from tests.conftest import REPO
from tests.newcomer import papers
from tests.newcomer.papers import DOCS

REFUSING = ("parts", "machining", "toolpath", "safety.py", "refit/as_cut.py",
            "outputs/drawings/nesting.py", "calibration", "workflows/coupon.py")  # fmt: skip
"""Where a job that is understood may be refused; what is found elsewhere is wrong input."""


def test_every_key_of_a_job_is_explained():
    (shown,) = papers.TABLES.findall((DOCS / "job-file.md").read_text(encoding="utf-8"))
    assert shown == papers.key_tables(), "write them anew: python -m tests.newcomer.papers"
    assert shown.count("\n| `") > 40


def test_every_code_of_the_proof_is_explained_once_and_no_other():
    text = (DOCS / "findings.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([RMCHVJ]\d\d) \| (.+?) \| (.+?) \|$", text, re.MULTILINE)
    assert [code for code, _, _ in rows] == [str(code) for code in Code]
    for code, means, fix in rows:
        assert len(means) > 10, code
        assert len(fix) > 10, code


def texts_of(node):
    """What an expression may say, with … for an amount or a name: all of a choice's branches."""
    match node:
        case ast.Constant(value=str(text)):
            return [text]
        case ast.JoinedStr(values=values):
            parts = [v.value if isinstance(v, ast.Constant) else "…" for v in values]
            return [re.sub(r"… mm2?\b", "…", "".join(parts))]
        case ast.IfExp(body=body, orelse=other):
            return texts_of(body) + texts_of(other)
        case _:
            return []


def refusals(path):
    """Every text that a fault of a module may give as what is wrong, with its line."""
    yield from refusals_in(ast.parse(path.read_text(encoding="utf-8")))


def refusals_in(tree):
    """The same of a part of a module."""
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "wrong":
            yield from ((text, node.value.lineno) for text in texts_of(node.value))
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "wrong":
            yield from ((text, node.lineno) for text in texts_of(node.value))


def refused_outright(path):
    """Every text that a module raises as a refusal itself, with its line."""
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        for raised in ast.walk(function) if isinstance(function, ast.FunctionDef) else ():
            if isinstance(raised, ast.Raise) and "RefusedError(" in ast.unparse(raised):
                yield from refusals_in(raised)
                if "wrong" in {getattr(n, "id", "") for n in ast.walk(raised)}:
                    before = (n for n in ast.walk(function)
                              if isinstance(n, ast.Assign) and n.lineno < raised.lineno)  # fmt: skip
                    yield from (found for node in before for found in refusals_in(node))


def test_every_refusal_is_explained_and_no_other():
    text = (DOCS / "findings.md").read_text(encoding="utf-8").split("## Refusals")[1]
    shown = re.findall(r"^\| `(.+?)` \| (.{15,}) \| (.{15,}) \|$", text, re.MULTILINE)
    assert len(shown) == text.count("\n| `")
    house = REPO / "blankcam"
    found = {
        (words, f"{path.relative_to(house)}:{line}")
        for room in REFUSING
        for path in ([house / room] if room.endswith(".py") else (house / room).rglob("*.py"))
        for words, line in refusals(path)
    }
    outright = {
        (words, f"{path.relative_to(house)}:{line}")
        for path in house.rglob("*.py")
        for words, line in refused_outright(path)
    }
    assert len(found) > 20
    assert len(outright) > 8
    missing = [f for f in found | outright if not any(words in f[0] for words, _, _ in shown)]
    assert missing == []
    # A reason's words are a pattern, its amounts in braces
    every = "\n".join(
        re.sub(r"\{[^{}\n]*\}(?: mm2?\b)?", "…", words)
        for path in house.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        for words in texts_of(node)
    )
    stale = [words for words, _, _ in shown if words not in every]
    assert stale == []


def options_told():
    """Every option that the table of commands.md tells of, with the commands it is told for."""
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    table = text.split("## Options")[1].split("\n## ")[0].replace(r"\|", "/")
    for options, commands, does in re.findall(
        r"^\| (`.+?) \| (.+?) \| (.+?) \|$", table, re.MULTILINE
    ):
        assert len(does) > 10
        for option in re.findall(r"--[a-z-]+", options):
            yield from ((command, option) for command in re.findall(r"`([a-z]+)`", commands))


def test_every_command_and_option_is_explained_and_no_other():
    whole = typer.main.get_command(cli.app)
    there = {("blankcam", o) for p in whole.params for o in p.opts} | {("blankcam", "--help")}
    for name, command in whole.commands.items():
        there |= {(name, o) for p in command.params for o in p.opts if o.startswith("--")}
        assert f"| `blankcam {name}" in (DOCS / "commands.md").read_text(encoding="utf-8")
    assert len(there) > 40
    assert sorted(options_told()) == sorted(there)


def test_every_table_of_numbers_is_in_the_list_of_sources():
    text = (DOCS / "sources.md").read_text(encoding="utf-8")
    tables = {p.name for p in (REPO / "blankcam" / "data").glob("*.toml")} - {"keys.toml"}
    assert set(re.findall(r"`(\w+\.toml)`", text)) == tables


def keys_of(schema, whole=None):
    """Every name of a property anywhere in a JSON Schema, but not those of an axis or a string."""
    whole = whole or schema
    if isinstance(schema, dict):
        for name, inner in schema.get("properties", {}).items():
            yield name
            yield from keys_of(inner, whole)
        for key, inner in schema.items():
            if key != "properties":
                yield from keys_of(inner, whole)
    elif isinstance(schema, list):
        for inner in schema:
            yield from keys_of(inner, whole)


@pytest.mark.parametrize(
    ("schema", "paper", "plain"),
    [
        ("machine", "machines.md", {"x", "y", "z"}),
        ("readings", "bench-loop.md", {"bass", "treble"}),
    ],
)
def test_every_key_of_machines_and_readings_is_explained(schema, paper, plain):
    path = REPO / "blankcam" / "data" / f"{schema}.schema.json"
    keys = set(keys_of(json.loads(path.read_text(encoding="utf-8")))) - plain
    assert len(keys) > 5
    text = (DOCS / paper).read_text(encoding="utf-8")
    assert [k for k in sorted(keys) if not re.search(rf"[`.\[]{k}\b", text)] == []
