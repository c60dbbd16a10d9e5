"""The crown of a saddle as a surface that goes on beyond the part."""

from __future__ import annotations

import numpy as np

from blankcam.cutting.surface import Surface
from blankcam.parts.curve import Array
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage

STEEPEST = 0.97
"""Where the section's arc is left for its tangent, as a fraction of its radius."""


def crown_surface(saddle: Saddle, stage: Stage) -> Surface:
    """The crown of that stage, carried on by its tangent where its arc would stand upright."""
    radius = saddle.crown_radius
    raised = saddle.allowance if stage is Stage.ROUGH else 0.0
    edge = STEEPEST * radius
    drop, slope = np.sqrt(radius**2 - edge**2), edge / np.sqrt(radius**2 - edge**2)

    def surface(x: Array, y: Array) -> Array:
        away = np.abs(y - saddle.ridge.height(x))
        round_ = np.sqrt(radius**2 - np.minimum(away, edge) ** 2)
        beyond = np.maximum(away - edge, 0.0)
        return np.asarray(
            saddle.top.height(x)
            + np.where(beyond > 0, drop - slope * beyond, round_)
            - radius
            + raised
        )

    return surface
