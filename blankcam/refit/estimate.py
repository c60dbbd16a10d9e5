"""What is believed of the clearances over one fret: a normal distribution over the strings.

A reading sharpens it (weighed by its own uncertainty), a cut shifts it and blurs it a little, and
so does taking the strings off and on. mm; every array runs over the strings, in one order
throughout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClearanceEstimate:
    """The clearances over one fret as believed."""

    mean: Array
    """Shape (N,)."""
    covariance: Array
    """Shape (N, N), mm²."""

    @property
    def sd(self) -> Array:
        """Of every string's clearance by itself."""
        return np.sqrt(np.diag(self.covariance))

    def moved(self, shift: Array, blur: Array) -> ClearanceEstimate:
        """After a change known to within ``blur`` (N, N)."""
        return ClearanceEstimate(mean=self.mean + shift, covariance=self.covariance + blur)


def common_slope_each(
    places: Array, *, common: float = 0.0, slope: float = 0.0, each: float | Array = 0.0
) -> Array:
    """The covariance of a shift all strings share, a tilt across them, and one of each its own.

    Parameters
    ----------
    places : of the strings across the instrument, the outer two at -1 and 1, shape (N,)
    common, slope, each : standard deviations, mm; the slope's at the outer strings
    """
    own = np.broadcast_to(np.asarray(each, dtype=np.float64), places.shape)
    return np.asarray(
        common**2 * np.ones((len(places), len(places)))
        + slope**2 * np.outer(places, places)
        + np.diag(own**2)
    )


def with_reading(
    before: ClearanceEstimate, read: Array, sd: float
) -> tuple[ClearanceEstimate, float]:
    """The estimate after a reading, and the log density of having read just that.

    Parameters
    ----------
    read : one clearance a string, NaN where none was taken
    sd : of each reading, mm, over 0

    Notes
    -----
    The Kalman update for readings with independent normal errors of one size.
    """
    seen = ~np.isnan(read)
    if not seen.any():
        return before, 0.0
    joint = before.covariance[np.ix_(seen, seen)] + sd**2 * np.eye(int(seen.sum()))
    off = read[seen] - before.mean[seen]
    gain = np.linalg.solve(joint, before.covariance[seen]).T
    after = ClearanceEstimate(
        mean=before.mean + gain @ off,
        covariance=_symmetric(before.covariance - gain @ before.covariance[seen]),
    )
    return after, log_density(off, joint)


def log_density(off: Array, covariance: Array) -> float:
    """Log of the normal density with mean 0 at ``off``, shape (N,)."""
    return float(log_densities(off[np.newaxis], covariance[np.newaxis])[0])


def log_densities(off: Array, covariances: Array) -> Array:
    """The same for many at once: ``off`` (K, N), ``covariances`` (K, N, N) to (K,)."""
    lower = np.linalg.cholesky(covariances)
    white = np.linalg.solve(lower, off[..., np.newaxis])[..., 0]
    log_root = np.sum(np.log(np.diagonal(lower, axis1=-2, axis2=-1)), axis=-1)
    count = off.shape[-1]
    return np.asarray(
        -0.5 * np.sum(white**2, axis=-1) - log_root - 0.5 * count * math.log(math.tau)
    )


def log_mean(logs: Array, log_weights: Array) -> float:
    """Log of the weighted mean of what the logs are of; weights sum to 1."""
    together = logs + log_weights
    top = float(together.max())
    return top + math.log(float(np.sum(np.exp(together - top))))


def _symmetric(matrix: Array) -> Array:
    return np.asarray((matrix + matrix.T) / 2)
