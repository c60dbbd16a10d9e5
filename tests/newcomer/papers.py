"""What the papers show of the program: made anew here, and held to by the tests beside.

``python -m tests.newcomer.papers`` writes it into the papers, after a change of what is printed.
"""

import re
import shutil
import tempfile
from pathlib import Path

from blankcam.data import table
from tests.conftest import REPO, STEEL
from tests.installed import run

README = REPO / "README.md"
DOCS = REPO / "blankcam" / "docs"
PAPERS = [README, REPO / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]
OUTPUT = re.compile(r"(<!-- output: (\w+) -->\n```\n)(.*?)(?=```)", re.DOTALL)
TABLES = re.compile(r"(?<=<!-- keys -->\n).*(?=<!-- end of keys -->)", re.DOTALL)
README_LINES = 5
"""Of what make prints, the first lines are in the README; the whole is in the docs."""
LAYOUT = ("Nut: where the slots go", "Nut: how deep")
REFIT_ENDS = "What to know"


def said(*args, cwd=REPO, columns="100"):
    """What a command prints, as lines without the blanks at their ends."""
    done = run(*args, cwd=cwd, COLUMNS=columns)
    assert done.returncode == 0, done.stderr
    return [line.rstrip() for line in done.stdout.splitlines()]


def make(folder):
    """What make prints of the demo job, run where README's first command is."""
    job = STEEL.relative_to(REPO)
    (folder / job).parent.mkdir(exist_ok=True)
    shutil.copy(STEEL, folder / job)
    return said("make", str(job), "--out", "out/concert-steel", cwd=folder)


def layout(_):
    """The nut's two tables of the demo job."""
    real = said("layout", str(STEEL.relative_to(REPO)))
    first = next(i for i, line in enumerate(real) if line.startswith(LAYOUT[0]))
    second = next(i for i, line in enumerate(real) if line.startswith(LAYOUT[1]))
    last = next(i for i in range(second + 2, len(real)) if real[i].startswith(("Saddle", "What")))
    return "\n".join(real[first:last]).rstrip().split("\n")


def refit(folder):
    """What refit prints first of the demo job and the readings that the paper shows."""
    shutil.copy(STEEL, folder / "job.toml")
    real = refit_with(folder, 0)
    return "\n".join(real[: real.index(REFIT_ENDS)]).rstrip().split("\n")


def done(folder):
    """What the refit after that says of how it ends, from the paper's second readings."""
    refit(folder)
    real = refit_with(folder, 1)
    first = next(i for i, line in enumerate(real) if line.startswith("  done:"))
    return real[first : real.index("Written") - 1]


def refit_with(folder, place):
    """What refit prints with the readings that stand in that place in the paper."""
    text = (DOCS / "bench-loop.md").read_text(encoding="utf-8")
    readings = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)[place]
    (folder / "readings.toml").write_text(readings, encoding="utf-8")
    words = ("refit", "job.toml", "readings.toml", "--out", "final", "--force")
    return said(*words, cwd=folder, columns="124")


SHOWN = {"make": make, "layout": layout, "refit": refit, "done": done}


def key_tables():
    """A table of keys for each table of a job file, as Markdown, from the words of started jobs."""
    parts = []
    for name, keys in table("keys").items():
        rows = [f"| `{key}` | {words} |" for key, words in keys.items()]
        title = "[[strings]]" if name == "strings" else f"[{name}]"
        parts.append("\n".join([f"`{title}`", "", "| key | what it is |", "|---|---|", *rows]))
    return "\n" + "\n\n".join(parts) + "\n\n"


def with_today(paper, folder):
    """A paper's text with today's output and keys in their places."""

    def fresh(found):
        lines = SHOWN[found[2]](folder)
        if paper == README:
            lines = lines[:README_LINES]
        return found[1] + "\n".join(lines) + "\n"

    text = OUTPUT.sub(fresh, paper.read_text(encoding="utf-8"))
    return TABLES.sub(lambda _: key_tables(), text)


if __name__ == "__main__":
    for each in PAPERS:
        with tempfile.TemporaryDirectory() as scratch:
            each.write_text(with_today(each, Path(scratch)), encoding="utf-8")
