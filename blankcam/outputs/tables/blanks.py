"""Whether the blanks are large enough, and what comes off their thickness."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from blankcam.inputs.units import inches
from blankcam.outputs.rows import Column, Figure, Table, Value
from blankcam.parts.blank import Check
from blankcam.parts.fit import Fit

COLUMNS = (
    Column(key="part", title="part"),
    Column(key="dimension", title="measure"),
    Column(key="have", title="blank", unit="mm", decimals=2),
    Column(key="need", title="needs", unit="mm", decimals=2),
    Column(key="difference", title="difference", unit="mm", decimals=2),
    Column(key="verdict", title=""),
)


def blank_table(checks: Iterable[Check]) -> Table:
    """A row a dimension; a thickness has three decimals, for the fit depends on it."""
    return Table(key="blanks", columns=COLUMNS, rows=tuple(_row(c) for c in checks))


def _row(check: Check) -> tuple[Value, ...]:
    verdict, need, difference = _judged(check)
    figures = (check.have, need, difference)
    if check.dimension != "thickness":
        return (check.part, check.dimension, *figures, verdict)
    fine = (Figure(value=f, decimals=3) for f in figures)
    return (check.part, check.dimension, *fine, verdict)


def _judged(check: Check) -> tuple[str, float, float]:
    """The verdict, what is needed, and how far the blank is from it; mm."""
    if check.rub_off:
        verb = "mill" if check.by == "mill" else "rub"
        return f"{verb} off this much", check.have - check.rub_off, check.rub_off
    if check.loose:
        return "too thin: loose in its seat", check.need, -check.loose
    if check.dimension == "thickness":
        return "fits", check.need, check.have - check.need
    spare = check.have - check.need
    return "too small" if spare < 0 else "to spare", check.need, spare


class Fitted(Protocol):
    """A part and the limits of its thickness."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def fit(self) -> Fit: ...  # noqa: D102


def fit_words(part: Fitted) -> str:
    """How thick a part may be for its seat, and what to aim at."""
    fit = part.fit
    return (
        f"{part.name}: {fit.words} ({fit.name} fit, {fit.code}) in a seat of {fit.seat:.3f} mm: "
        f"{fit.low:.3f} to {fit.high:.3f} mm thick ({inches(fit.low)} to "
        f"{inches(fit.high)} in), aim at {fit.target:.3f} mm"
    )
