"""Whether part and waste stay held: bodies of a coarse solid after every move that cuts through.

On face a tool cuts from above, so what stands over the waste board is a solid of columns, and
bodies hang together where columns beside each other stand. Tabs are the low columns at the seat
side that hold the waste beside each end to the part; what is clamped is held by its clamp, what is
glued by the board. On edge everything down to the seat side stands between the jaws.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.machine import Holding
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.replay.bodies import Ints, label_bodies, opened
from blankcam.replay.codes import Code
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.limits import Excess, report_move
from blankcam.replay.motions import bounds
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.sweep import TOUCH, swept_heights
from blankcam.replay.tool_profile import tool_profile_of

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

FLAT = 0.01
"""mm that a tab may be lower than it must be: its height is printed rounded."""


class HeldBlank:
    """A blank lying on its face, as what is cut through it is followed."""

    def __init__(self, stock: Box, holding: Holding, length: float, inside: float) -> None:
        """``stock`` in the part's frame; ``inside`` is a height inside the part all along it."""
        self.sizes = table("proof")["holding"]
        self.box, self.holding = stock.on_face(), holding
        self.solid = Heightmap.of(self.box, self.sizes["dx"], self.sizes["dy"])
        self.half = int(np.searchsorted(self.solid.x, length / 2))
        self.row = int(np.searchsorted(self.solid.y, inside))
        thick = stock.y1 - max(stock.y0, 0.0)
        least = max(self.sizes["tab_height"], self.sizes["tab_share"] * thick)
        self.tab = self.box.z0 + min(least, self.sizes["tab_most"] * thick)
        """Z of the top of the lowest tab allowed."""
        self.known: dict[tuple[str, str], tuple[Bools, float]] = {}
        """What was found of the cells that stand, and of those that are high, at each end."""

    def check(self, program: ParsedProgram, tools: Mapping[int, Tool], found: Collector) -> None:
        """Carry out a program's deep moves, and fault the first that cuts anything loose."""
        _check_tape(program, tools, self.holding, self.box, found)
        faulted: set[Code] = set()
        low, high = bounds(program.moves)
        for i in self._deep_moves(program, tools, low):
            if not self._lowered(program, tools, i, (low[i, :2], high[i, :2])):
                continue
            for code, what, area in self._loose():
                if code not in faulted:
                    faulted.add(code)
                    report_move(found, program, i, Excess(code, what, area, self.sizes["piece"]))

    def _deep_moves(
        self, program: ParsedProgram, tools: Mapping[int, Tool], low: Floats
    ) -> list[int]:
        """The moves that go below the top of a tab."""
        moves = program.moves
        deep = moves.known & (low[:, 2] < self.tab - FLAT / 2) & np.isin(moves.tool, list(tools))
        return [int(i) for i in np.flatnonzero(deep)]

    def _lowered(
        self, program: ParsedProgram, tools: Mapping[int, Tool], i: int, over: tuple[Floats, Floats]
    ) -> bool:
        """Lower the solid by move i; whether that took anything below the top of a tab.

        ``over``: the lowest and highest x and y of its path.
        """
        moves, form = program.moves, tool_profile_of(tools[int(program.moves.tool[i])])
        rows, columns = self.solid.window(over[0] - form.radius, over[1] + form.radius)
        part = self.solid.z[rows, columns]
        if not part.size:
            return False
        cut = swept_heights(form, moves, i, self.solid.x[columns], self.solid.y[rows])
        changed = (cut < part) & (cut < self.tab - FLAT)
        np.minimum(part, cut, out=part)
        return bool(changed.any())

    def _loose(self) -> Iterator[tuple[Code, str, float]]:
        """Pieces that nothing holds any more, and tabs that are too small; with plan areas, mm2."""
        stands, high = self.solid.z > self.box.z0 + TOUCH, self.solid.z >= self.tab - FLAT
        for side, columns in (("left", slice(0, self.half)), ("right", slice(self.half, None))):
            if (area := self._apart(stands[:, columns], side)) > self.sizes["piece"]:
                yield Code.CUT_FREE, f"cuts a piece loose at the {side} end, mm2", area
            elif (area := self._weak(high[:, columns], side)) > self.sizes["piece"]:
                what = f"leaves too small a tab at the {side} end, mm2 that hang on it"
                yield Code.TAB, what, area

    def _apart(self, stands: Bools, side: str) -> float:
        """The largest piece of one end that must hang on the part and does not, mm2."""
        return self._area(("stands", side), stands, lambda: self._largest_apart(stands, side))

    def _weak(self, high: Bools, side: str) -> float:
        """The same, where only what is as high and as wide as a tab holds."""
        return self._area(
            ("high", side), high, lambda: self._largest_apart(self._strong(high), side)
        )

    def _area(self, of: tuple[str, str], cells: Bools, area: Callable[[], float]) -> float:
        """An area worked out of cells, or as it was while the same cells stand."""
        known = self.known.get(of)
        if known is None or not np.array_equal(known[0], cells):
            self.known[of] = known = (cells, area())
        return known[1]

    def _strong(self, high: Bools) -> Bools:
        """The columns that are high enough, and wide enough together, to hold as a tab does.

        Waste at the blank's end counts as wide: beside it there is nothing to be held. At the
        middle of the part all that is high counts.
        """
        rows = int(self.sizes["tab_width"] / self.sizes["dy"] + 1e-9) - 1
        columns = int(self.sizes["tab_width"] / self.sizes["dx"] + 1e-9)
        wide = opened(np.pad(high, ((0, 0), (columns, columns)), mode="edge"), rows, columns)
        return wide[:, columns:-columns]

    def _largest_apart(self, stands: Bools, side: str) -> float:
        labels, count = label_bodies(stands)
        middle = labels[self.row, -1 if side == "left" else 0]
        cell = self.sizes["dx"] * self.sizes["dy"]
        areas = np.bincount(labels.ravel(), minlength=count + 1) * cell
        areas[[0, middle]] = 0.0
        if self.holding.on_face in ("carrier", "tape"):
            # What lies over the part's top only is held by the board
            areas[~np.isin(np.arange(count + 1), labels[: self._tab_rows])] = 0.0
        return float(areas.max(initial=0.0))

    @property
    def _tab_rows(self) -> int:
        return int(self.sizes["tab_width"] / self.sizes["dy"] + 1e-9)


def _check_tape(
    program: ParsedProgram,
    tools: Mapping[int, Tool],
    holding: Holding,
    box: Box,
    found: Collector,
) -> None:
    sizes = table("proof")["holding"]
    area = (box.x1 - box.x0) * (box.y1 - box.y0)
    moves = program.moves
    if holding.on_face != "tape" or area >= sizes["tape_area"]:
        return
    wide = [n for n, t in tools.items() if t.diameter > sizes["tape_tool"]]
    for i in np.flatnonzero(moves.cutting & np.isin(moves.tool, wide))[:1]:
        diameter = tools[int(moves.tool[i])].diameter
        what = f"tape alone on {area:.0f} mm2 cannot hold against a tool this wide, mm"
        report_move(found, program, int(i), Excess(Code.TAPE, what, diameter, sizes["tape_tool"]))


def check_grip(holding: Holding, top: float, found: Collector) -> None:
    """Fault jaws that hold too little of a blank on edge whose top is at ``top`` mm."""
    sizes = table("proof")["holding"]
    need = max(sizes["grip"], sizes["grip_share"] * top)
    if holding.jaws < need - 1e-6:
        found.add(Code.GRIP, "the jaws hold too little of the blank, mm",
                  value=holding.jaws, limit=need)  # fmt: skip


def check_on_edge(program: ParsedProgram, standing: Heightmap, jaws: tuple[float, float],
                  found: Collector) -> None:  # fmt: skip
    """Fault pieces that a program has cut through down to the seat side, beyond the jaws.

    ``standing`` is the stock as cut, in the part's frame; ``jaws`` reach from one x to another.
    """
    low, _ = bounds(program.moves)
    through = np.flatnonzero(program.moves.known & (low[:, 2] < TOUCH))
    if not through.size:
        return
    labels, count = label_bodies(standing.z > TOUCH)
    held = labels[:, (standing.x >= jaws[0]) & (standing.x <= jaws[1])]
    loose = np.setdiff1d(np.arange(1, count + 1), held)
    area = _largest(labels, loose, standing)
    piece = table("proof")["holding"]["piece"]
    if area > piece:
        what = "cuts a piece loose beyond the jaws, mm2"
        report_move(found, program, int(through[-1]), Excess(Code.CUT_FREE, what, area, piece))


def _largest(labels: Ints, which: Ints, standing: Heightmap) -> float:
    """Plan area of the largest of the bodies numbered, mm2."""
    cells = np.outer(np.gradient(standing.y), np.gradient(standing.x))
    areas = np.bincount(labels.ravel(), weights=cells.ravel())
    return float(areas[which].max(initial=0.0))
