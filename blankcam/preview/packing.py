"""Arrays into the page: quantised, differenced, deflated, base64.

Heights go as 16-bit steps over their own range (a step of a 10 mm part is 0.16 µm), 65535 where
there is nothing; deviations as 16-bit tenths of a micrometre, -32768 where there is nothing. Every
number is the difference from the one before it, along the rows or, where that comes out shorter,
along the columns of a grid of heights, low bytes before high bytes, which deflates well.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blankcam.preview.model import Cells, Floats, Heights, PathView

NOTHING = 65535
TENTHS = 32767
POINT_STEP = 1e-4  # mm: a tenth of a micrometre, as fine as the programs' four decimals
TIME_STEP = 1e-3  # s


def deflated(raw: bytes) -> str:
    """Zlib and base64."""
    return base64.b64encode(zlib.compress(raw, 9)).decode("ascii")


def of_text(lines: Sequence[str]) -> str:
    """A program's text."""
    return deflated("\n".join(lines).encode())


def of_json(value: Any) -> str:
    """Values as JSON."""
    return deflated(json.dumps(value, separators=(",", ":"), allow_nan=False).encode())


def of_words(words: NDArray[np.uint16]) -> str:
    """16-bit words, differenced along themselves, in byte planes."""
    flat = words.ravel()
    steps = np.diff(flat, prepend=flat[:1] * 0)
    return deflated(
        (steps & 255).astype(np.uint8).tobytes() + (steps >> 8).astype(np.uint8).tobytes()
    )


def of_longs(values: NDArray[np.int64]) -> str:
    """32-bit numbers, differenced along themselves, in byte planes."""
    steps = np.diff(values, prepend=0).astype("<i4")
    return deflated(steps.view(np.uint8).reshape(-1, 4).T.tobytes())


def of_heights(heights: Heights) -> dict[str, Any]:
    """A grid as the page's script reads it; wants at least one height that is a number."""
    there = np.isfinite(heights.z)
    low, high = float(heights.z[there].min()), float(heights.z[there].max())
    step = max(high - low, 1e-6) / (NOTHING - 1)
    words = np.full(heights.z.shape, NOTHING, dtype=np.uint16)
    words[there] = np.round((heights.z[there] - low) / step).astype(np.uint16)
    by_rows, by_columns = of_words(words), of_words(words.T)
    columns = len(by_columns) < len(by_rows)
    return {
        **of_cells(heights),
        "low": low,
        "step": step,
        "columns": columns,
        "data": by_columns if columns else by_rows,
    }


def of_cells(cells: Cells | Heights) -> dict[str, Any]:
    """Where a grid lies."""
    return {
        "nx": len(cells.x),
        "ny": len(cells.y),
        "x0": float(cells.x[0]),
        "dx": _step(cells.x),
        "y0": float(cells.y[0]),
        "dy": _step(cells.y),
        "box": list(cells.box),
    }


def _step(places: Floats) -> float:
    return float(places[-1] - places[0]) / (len(places) - 1) if len(places) > 1 else 1.0


def of_deviation(deviation: Floats) -> str:
    """Deviations in µm, clipped at 3.2767 mm."""
    tenths = np.clip(np.round(np.nan_to_num(deviation) * 10), -TENTHS, TENTHS)
    words = np.where(np.isfinite(deviation), tenths, -TENTHS - 1).astype(np.int16)
    return of_words(words.view(np.uint16))


def of_path(path: PathView) -> dict[str, Any]:
    """A tool's way, a packed column a property."""
    points = np.round(path.points / POINT_STEP).astype(np.int64)
    columns: Mapping[str, NDArray[np.int64]] = {
        "x": points[:, 0],
        "y": points[:, 1],
        "z": points[:, 2],
        "line": path.line,
        "rapid": path.rapid.astype(np.int64),
        "tool": path.tool,
        "ms": np.round(path.seconds / TIME_STEP).astype(np.int64),
    }
    return {"n": len(points), **{name: of_longs(column) for name, column in columns.items()}}


def thinned(heights: Heights, dx: float, dy: float) -> tuple[Heights, slice, slice]:
    """Every k-th column and row, so that no cell is wider than dx by dy where it was finer.

    Heights stay those of true cells: nothing is averaged. Also the rows and columns kept.
    """
    columns, rows = _kept(heights.x, dx), _kept(heights.y, dy)
    kept = Heights(
        x=heights.x[columns], y=heights.y[rows], z=heights.z[rows, columns], box=heights.box
    )
    return kept, rows, columns


def _kept(places: Floats, step: float) -> slice:
    """A slice of about that step that leaves as much out on the left as on the right."""
    every = max(1, int(step / _step(places) + 1e-9))
    return slice((len(places) - 1) % every // 2, None, every)


def worst(values: Floats, rows: slice, columns: slice) -> Floats:
    """For every kept cell the value of greatest size among the cells nearest to it.

    So thinning hides no deviation: each cell of ``values`` (ny, nx) counts in just one kept cell.
    """
    r, c = (_first(_owner(n, kept)) for n, kept in zip(values.shape, (rows, columns), strict=True))
    known = np.isfinite(values)
    high = np.where(known, values, -np.inf)
    low = np.where(known, values, np.inf)
    high = np.maximum.reduceat(np.maximum.reduceat(high, r, axis=0), c, axis=1)
    low = np.minimum.reduceat(np.minimum.reduceat(low, r, axis=0), c, axis=1)
    greatest = np.where(high >= -low, high, low)
    return np.where(np.isfinite(greatest), greatest, np.nan)


def _first(owner: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where each run of equal owners begins."""
    return np.asarray(np.flatnonzero(np.diff(owner, prepend=-1)), dtype=np.int64)


def _owner(count: int, kept: slice) -> NDArray[np.int64]:
    """Which kept index lies nearest to each of ``count`` indices."""
    start, step = kept.start, kept.step
    total = len(range(count)[kept])
    nearest = np.round((np.arange(count) - start) / step)
    return np.asarray(np.clip(nearest, 0, total - 1), dtype=np.int64)
