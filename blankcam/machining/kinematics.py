"""How long one move takes on a machine that speeds up and slows down evenly."""

from __future__ import annotations

import math


def trapezoid(
    length: float, speed: float, acceleration: float, enter: float = 0.0, leave: float = 0.0
) -> float:
    """Seconds for one move: up to ``speed`` and down again, or a triangle where it is too short.

    Needs |leave² − enter²| ≤ 2·acceleration·length; mm, mm/s, mm/s².
    """
    peak = math.sqrt((2 * acceleration * length + enter**2 + leave**2) / 2)
    if peak <= speed:
        return max(0.0, 2 * peak - enter - leave) / acceleration
    ramps = (2 * speed**2 - enter**2 - leave**2) / (2 * acceleration)
    return (2 * speed - enter - leave) / acceleration + (length - ramps) / speed
