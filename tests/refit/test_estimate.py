"""The estimate against least squares and another library's normal distribution."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from blankcam.refit.estimate import (
    ClearanceEstimate,
    common_slope_each,
    log_density,
    log_mean,
    with_reading,
)

PLACES = np.linspace(-1, 1, 6)
BEFORE = ClearanceEstimate(
    mean=np.linspace(0.5, 0.4, 6),
    covariance=common_slope_each(PLACES, common=0.05, slope=0.03, each=0.025),
)
READ = np.array([0.61, 0.57, 0.52, 0.49, 0.51, 0.44])


def test_a_reading_is_weighed_as_generalised_least_squares_weighs_it():
    """Gauss-Markov: the estimate is what minimises both weighted misfits (textbook result)."""
    after, _ = with_reading(BEFORE, READ, 0.025)
    prior_root = np.linalg.inv(np.linalg.cholesky(BEFORE.covariance))
    rows = np.vstack([prior_root, np.eye(6) / 0.025])
    wanted = np.concatenate([prior_root @ BEFORE.mean, READ / 0.025])
    solved, *_ = np.linalg.lstsq(rows, wanted, rcond=None)
    assert after.mean == pytest.approx(solved, abs=1e-12)
    assert after.covariance == pytest.approx(np.linalg.inv(rows.T @ rows), abs=1e-12)


def test_the_density_is_that_of_scipy():
    covariance = BEFORE.covariance + 0.025**2 * np.eye(6)
    _, log = with_reading(BEFORE, READ, 0.025)
    other = stats.multivariate_normal(BEFORE.mean, covariance).logpdf(READ)
    assert log == pytest.approx(float(other))
    assert log_density(READ - BEFORE.mean, covariance) == pytest.approx(float(other))


def test_a_missing_string_learns_from_its_neighbours_only():
    read = np.where(np.arange(6) == 2, np.nan, READ)
    after, _ = with_reading(BEFORE, read, 0.025)
    assert after.sd[2] < BEFORE.sd[2]
    assert after.sd[2] > after.sd[1]
    nothing, log = with_reading(BEFORE, np.full(6, np.nan), 0.025)
    assert nothing is BEFORE
    assert log == 0


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-0.2, 0.2), min_size=6, max_size=6), st.floats(0.005, 0.2))
def test_two_readings_at_once_are_their_mean_read_finer(off, sd):
    """Order does not matter, and two readings of one sd are one of sd over root two."""
    one, two = READ, READ + np.array(off)
    a, _ = with_reading(with_reading(BEFORE, one, sd)[0], two, sd)
    b, _ = with_reading(with_reading(BEFORE, two, sd)[0], one, sd)
    c, _ = with_reading(BEFORE, (one + two) / 2, sd / math.sqrt(2))
    assert a.mean == pytest.approx(b.mean, abs=1e-9)
    assert a.mean == pytest.approx(c.mean, abs=1e-9)
    assert a.covariance == pytest.approx(c.covariance, abs=1e-9)


def test_a_weighted_mean_of_logs_does_not_underflow():
    logs = np.array([-2000.0, -2001.0])
    assert log_mean(logs, np.log([0.5, 0.5])) == pytest.approx(
        -2000 + math.log((1 + math.exp(-1)) / 2)
    )
