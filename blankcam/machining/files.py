"""Which gauged files cut a slot by hand."""

from __future__ import annotations

from dataclasses import dataclass

from blankcam.data import table


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """The files for one slot, inches across the cut."""

    start: float
    final: float
    """The widest file no wider than the slot; None fits where the slot is under the smallest."""
    fits: bool
    """Whether the final file is no wider than the slot."""


def files(width: float) -> Files:
    """The start and the final file for a slot of that width, mm.

    Sizes and the start file: data/files.toml, common practice.
    """
    rows = table("files")
    sizes = sorted(rows["sizes_in"])
    inch = width / 25.4
    narrow = [s for s in sizes if s <= inch + 1e-9]
    final = narrow[-1] if narrow else sizes[0]
    before = [s for s in sizes if s <= min(rows["start_in"], final - rows["under_in"]) + 1e-9]
    return Files(start=before[-1] if before else final, final=final, fits=bool(narrow))
