"""Labels that stand close moved apart."""

from __future__ import annotations

from collections.abc import Sequence


def spread(places: Sequence[float], pitch: float) -> list[float]:
    """Places moved apart to at least ``pitch``, as little as may be; any order, kept.

    Neighbours too near each other form a block about their mean (pool adjacent violators).
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    blocks: list[list[float]] = []  # [sum of wanted starts, count]
    for rank, i in enumerate(order):
        blocks.append([places[i] - rank * pitch, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    starts = [total / count for total, count in blocks for _ in range(int(count))]
    moved = [0.0] * len(places)
    for rank, i in enumerate(order):
        moved[i] = starts[rank] + rank * pitch
    return moved
