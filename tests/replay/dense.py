"""The slow, independent way: a tool set down at very many places along its path."""

import math

import numpy as np

from blankcam.inputs.tool import Shape


def profile(tool, r):
    """Height of the tool's surface over its tip at distances r, written from its drawing."""
    big = tool.diameter / 2
    half = math.radians(tool.angle / 2)
    ball = tool.tip_diameter / 2
    if tool.shape is Shape.FLAT:
        z = np.zeros_like(r)
    elif tool.shape is Shape.BALL:
        z = big - np.sqrt(np.clip(big * big - r * r, 0, None))
    elif tool.shape is Shape.VEE:
        z = np.clip(r - ball, 0, None) / math.tan(half)
    else:
        edge = ball * math.cos(half)
        round_part = ball - np.sqrt(np.clip(ball * ball - np.minimum(r, edge) ** 2, 0, None))
        z = np.where(r <= edge, round_part,
                     ball - ball * math.sin(half) + (r - edge) / math.tan(half))  # fmt: skip
    return np.where(r > big + 1e-9, np.inf, z)


def path(start, end, count):
    """Points along a straight move."""
    t = np.linspace(0, 1, count + 1)[:, None]
    return np.asarray(start) + (np.asarray(end) - np.asarray(start)) * t


def arc(start, end, centre, ccw, axes, count):
    """Points along an arc or helix in the plane of the first two axes; ccw from first to second."""
    a, b, c = axes
    first = math.atan2(start[b] - centre[b], start[a] - centre[a])
    last = math.atan2(end[b] - centre[b], end[a] - centre[a])
    if ccw and last <= first:
        last += 2 * math.pi
    if not ccw and last >= first:
        last -= 2 * math.pi
    radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
    out = np.empty((count + 1, 3))
    t = np.linspace(0, 1, count + 1)
    out[:, a] = centre[a] + radius * np.cos(first + (last - first) * t)
    out[:, b] = centre[b] + radius * np.sin(first + (last - first) * t)
    out[:, c] = start[c] + (end[c] - start[c]) * t
    return out


def heights(tool, points, x, y, grown=0.0):
    """Lowest heights over the grid, (ny, nx), by setting the tool down at every point.

    ``grown`` makes the tool that much fatter (thinner when negative) all round.
    """
    out = np.full((len(y), len(x)), np.inf)
    for px, py, pz in points:
        r = np.hypot(x[None, :] - px, y[:, None] - py)
        np.minimum(out, pz + profile(tool, np.maximum(r - grown, 0.0)), out=out)
    return out


def bounds(tool, points, x, y, aside=0.0):
    """Heights between which the sweep along the sampled path must lie, (low, high).

    No place of a path is further than half the sampling step from a sample, so a tool fatter by
    that much, set down at the samples and lowered by as much, reaches everywhere the real one
    does; and the real one reaches at least what it reaches at the samples. ``aside`` is how far
    the sweep's own path may lie off the true one.
    """
    half = np.linalg.norm(np.diff(points, axis=0), axis=1).max() / 2 if len(points) > 1 else 0.0
    low = heights(tool, points, x, y, half + aside) - half - aside
    return low, heights(tool, points, x, y, -aside) + aside
