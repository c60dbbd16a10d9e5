"""A blank's face milled to thickness: where material is left on it, and where it is cut too deep.

Seen by the machine, on face: x, the part's z along y, and -y as the height; the finished face lies
at height 0. Cells show what stands everywhere, fine lines a strip that no cell's middle lies on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.replay import limits
from blankcam.replay.codes import Code
from blankcam.replay.deviation import Deviation
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.sweep import swept_heights
from blankcam.replay.tool_profile import tool_profile_of

Floats = NDArray[np.float64]

NEAR = 0.03
"""mm; a face is judged so near to the places at which the blank stands."""


def face_probe_lines(stock: Box) -> tuple[Heightmap, Heightmap]:
    """Fine lines over the blank lying on its face, (along x, along y), in the machine's axes."""
    cells, box = table("proof")["cells"], stock.on_face()
    step, stations = cells["probe_face_step"], cells["stations"]
    x, y = (np.arange(a + step, b, step) for a, b in ((box.x0, box.x1), (box.y0, box.y1)))
    few_x, few_y = (
        np.linspace(a + 0.03, b - 0.03, stations) for a, b in ((box.x0, box.x1), (box.y0, box.y1))
    )
    return (
        Heightmap(x, few_y, np.full((stations, len(x)), box.z1)),
        Heightmap(few_x, y, np.full((len(y), stations), box.z1)),
    )


def face_deviations(
    part: Part, faces: Sequence[Heightmap], standing: Floats, stage: Stage
) -> tuple[Deviation, Deviation]:
    """What a milled face has left over (first) and under its finished height 0, at worst, mm.

    Left over is judged wherever the blank still stands for the set-up on edge: at the places x
    ``standing``. Under, inside the part's elevation. Places are given in the part's frame.
    """
    side = table("proof")["limits"]["side"]
    over = under = Deviation(amount=0.0, at=(0.0, 0.0, 0.0))
    for face in faces:
        kept = _distance_from(standing, face.x) < NEAR
        high = part.at(stage).lower(face.x, np.full_like(face.x, part.thickness / 2))
        aside = (face.x > side) & (face.x < part.length - side)
        inside = (face.y[:, None] < high[None, :] - side) & aside[None, :]
        over = max(over, _greatest(face, np.where(kept[None, :], face.z, -np.inf)),
                   key=lambda w: w.amount)  # fmt: skip
        under = max(under, _greatest(face, np.where(inside, -face.z, -np.inf)),
                    key=lambda w: w.amount)  # fmt: skip
    return over, under


def _distance_from(places: Floats, x: Floats) -> Floats:
    """How far each x is from the nearest of the rising places; inf where there are none."""
    around = np.concatenate(((-np.inf,), places, (np.inf,)))
    after = np.searchsorted(around, x)
    return np.asarray(np.minimum(x - around[after - 1], around[after] - x))


def _greatest(face: Heightmap, amount: Floats) -> Deviation:
    row, column = np.unravel_index(int(amount.argmax()), amount.shape)
    at = (float(face.x[column]), -float(face.z[row, column]), float(face.y[row]))
    return Deviation(amount=float(amount[row, column]), at=at)


def judge_thickness(part: Part, stage: Stage, faces: Sequence[Heightmap], standing: Floats,
          programs: Sequence[ParsedProgram], tools: Mapping[int, Tool], found: Collector
          ) -> None:  # fmt: skip
    """Fault material left over the finished face, and cuts below it inside the part."""
    allowed = table("proof")["limits"]
    left, gouge = face_deviations(part, faces, standing, stage)
    if left.amount > allowed["face"]:
        found.add(Code.LEFT, "left on the face milled to thickness, mm", value=left.amount,
                  limit=allowed["face"], at=left.at)  # fmt: skip
    if gouge.amount > allowed["gouge"]:
        program, move = _lowest_move(gouge.at[0], gouge.at[2], programs, tools)
        said = limits.Excess(Code.GOUGE, "face milled below its finished thickness, mm",
                             gouge.amount,
                           allowed["gouge"], gouge.at)  # fmt: skip
        found.program = program.name
        limits.report_move(found, program, move, said)
        found.program = ""


def _lowest_move(
    x: float, y: float, programs: Sequence[ParsedProgram], tools: Mapping[int, Tool]
) -> tuple[ParsedProgram, int]:
    """Which move cut lowest at a place in the machine's axes."""
    at = np.array([x]), np.array([y])
    forms = {n: tool_profile_of(t) for n, t in tools.items()}
    found = [
        (float(swept_heights(forms[int(p.moves.tool[i])], p.moves, int(i), *at)[0, 0]), k, int(i))
        for k, p in enumerate(programs)
        for i in np.flatnonzero(p.moves.known & np.isin(p.moves.tool, list(tools)))
    ]
    _, k, i = min(found)
    return programs[k], i
