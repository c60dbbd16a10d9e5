"""The stock as the programs have cut it so far: heights over the blank, and fine probe lines."""

from __future__ import annotations

import dataclasses

import numpy as np

from blankcam.data import table
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.replay import thickness_deviation
from blankcam.replay.deviation import probe_lines
from blankcam.replay.face_setup import drop_waste, lower_by_milled_face
from blankcam.replay.heightmap import Heightmap


class StockAsCut:
    """One blank under the programs of both set-ups; the replay lowers its heights in place.

    ``main`` and ``probes`` are seen on edge, in the part's frame; ``face`` and ``face_lines`` on
    face, in the machine's axes. ``held`` is the box that the jaws hold on edge.
    """

    def __init__(self, part: Part, stock: Box, milled: frozenset[int], step: float | None) -> None:
        """A full blank. ``step`` is the size of the cells, mm; data/proof.toml's without."""
        cells = table("proof")["cells"]
        dx = dy = step or cells["step"]
        if step is None and any(s.width < cells["fine_under"] for s in part.slots):
            dx = cells["fine"]
        self.part, self.stock, self.held = part, stock, stock
        self.main = Heightmap.of(stock, dx, dy)
        self.probes = probe_lines(part, stock, milled)
        self.face = Heightmap.of(stock.on_face(), cells["face"], cells["face"])
        self.mills_thickness = stock.y0 < 0
        self.tabs = 0.0
        """How high the tabs of an outline on face may hold the part, mm."""
        self.face_lines = (
            thickness_deviation.face_probe_lines(stock) if self.mills_thickness else ()
        )
        across = np.linspace(0.0, part.length, 201)[1:-1]
        heights = part.at(Stage.FINAL).lower(across, np.full_like(across, part.thickness / 2))
        self.inside = float(heights.min()) / 2
        """A height that is inside the part all along it, mm."""

    @property
    def on_edge(self) -> tuple[Heightmap, ...]:
        """All heights seen on edge: the grid, then the probe lines."""
        return (self.main, *self.probes.all)

    def copy_of_main(self) -> Heightmap:
        """The grid as it is now; later cuts do not change the copy."""
        return dataclasses.replace(self.main, z=self.main.z.copy())

    def finish_face(self) -> None:
        """What stays after the set-up on face: no waste, and jaws on the finished faces."""
        for each in self.on_edge:
            lower_by_milled_face(each, self.face)
            drop_waste(each, self.inside, self.part.length / 2)
        if self.mills_thickness:
            self.held = dataclasses.replace(self.stock, y0=0.0)
