"""The stand-alone interpreter of an open-source machine controller, asked what it would do.

Its canonical output is the path a real controller makes of a program's text.
"""

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import needed

_CALL = re.compile(r"^\s*\d+\s+N\S+\s+([A-Z_0-9]+)\((.*)\)\s*$")
PLANES = {"CANON_PLANE_XY": "G17", "CANON_PLANE_XZ": "G18", "CANON_PLANE_YZ": "G19",
          "CANON_PLANE::XY": "G17", "CANON_PLANE::XZ": "G18", "CANON_PLANE::YZ": "G19",
          "XY": "G17", "XZ": "G18", "YZ": "G19"}  # fmt: skip


def command():
    """The interpreter's command, or None."""
    return os.environ.get("BLANKCAM_RS274") or shutil.which("rs274")


def require():
    """Skip with a reason where there is no interpreter; fail where there must be one."""
    needed(command(), "the controller's interpreter (rs274)")


@dataclass(frozen=True, slots=True)
class Step:
    """One canonical move; ``centre`` and ``turn`` (+1 counter-clockwise) for arcs only."""

    kind: str
    end: tuple[float, float, float]
    plane: str
    centre: tuple[float, float] | None = None
    """Along the plane's axes: X Y, Z X, or Y Z."""
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Heard:
    """What the interpreter said."""

    accepted: bool
    complaint: str
    steps: tuple[Step, ...]
    calls: tuple[tuple[str, str], ...]


def ask(text: str, tools, folder: Path) -> Heard:
    """Run a program's text; its home, tool table and variables are private and thrown away."""
    home = folder / "home"
    home.mkdir(exist_ok=True)
    rows = [f"T{t.number} P{t.number} Z0 D{t.diameter}" for t in tools]
    (home / "t.tbl").write_text("\n".join(rows) + "\n")
    (home / "v.var").write_text("")
    program = folder / "program.ngc"
    program.write_text(text)
    environment = {"HOME": str(home), "PATH": os.environ["PATH"]}
    if libraries := os.environ.get("BLANKCAM_RS274_LIBRARIES"):
        environment["LD_LIBRARY_PATH"] = libraries
    done = subprocess.run(
        [command(), "-g", "-t", "t.tbl", "-v", "v.var", str(program)],
        cwd=home, env=environment, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    calls = tuple(
        (m[1], m[2]) for line in done.stdout.splitlines() if (m := _CALL.match(line)) is not None
    )
    return Heard(done.returncode == 0, done.stderr.strip(), tuple(_steps(calls)), calls)


def _steps(calls):
    plane, scale = "G17", 1.0
    for name, inside in calls:
        if name == "SELECT_PLANE":
            plane = PLANES[inside.strip()]
        elif name == "USE_LENGTH_UNITS":
            scale = 25.4 if "INCH" in inside else 1.0
        elif name in ("STRAIGHT_TRAVERSE", "STRAIGHT_FEED"):
            x, y, z = (scale * float(v) for v in inside.split(",")[:3])
            yield Step("rapid" if name == "STRAIGHT_TRAVERSE" else "line", (x, y, z), plane)
        elif name == "ARC_FEED":
            first, second, c1, c2, turn, normal = (float(v) for v in inside.split(",")[:6])
            a, b, n = scale * first, scale * second, scale * normal
            end = {"G17": (a, b, n), "G18": (b, n, a), "G19": (n, a, b)}[plane]
            yield Step("arc", end, plane, (scale * c1, scale * c2), int(turn))
