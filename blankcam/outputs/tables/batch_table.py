"""What became of a run's jobs: as tables for the terminal, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

from blankcam import __version__
from blankcam.faults import printable
from blankcam.outputs.tables.layout import Section

CSV, JSON = "summary.csv", "summary.json"
STATUSES = ("made", "kept", "refused", "unusable")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one job."""

    folder: str
    job: str
    """The instrument's name."""
    source: str
    """The job file, or the table's row."""
    status: str
    """``made``, ``kept`` (nothing had changed), ``refused`` or ``unusable``."""
    programs: int = 0
    minutes: float = 0.0
    """Machine time of its programs."""
    gouge_um: float = 0.0
    left_um: float = 0.0
    cautions: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()


def sections(outcomes: Sequence[Outcome], out: str) -> tuple[Section, ...]:
    """The outcomes as tables for the terminal."""
    table = Section(
        title=f"{len(outcomes)} jobs: {_counted(outcomes)}",
        columns=("folder", "instrument", "", "programs", "min", "below um", "left um", "cautions"),
        rows=tuple(_row(o) for o in outcomes),
        notes=(f"in {out}, with {CSV} and {JSON}",),
    )
    faults = tuple(fault for o in outcomes for fault in o.faults)
    return (table, Section(title="Not made", notes=faults)) if faults else (table,)


def _counted(outcomes: Sequence[Outcome]) -> str:
    counts = Counter(o.status for o in outcomes)
    return ", ".join(f"{counts[s]} {s}" for s in STATUSES if counts[s])


def _row(o: Outcome) -> tuple[str, ...]:
    cut = (
        (str(o.programs), f"{o.minutes:.0f}", f"{o.gouge_um:.1f}", f"{o.left_um:.1f}")
        if o.programs
        else ("", "", "", "")
    )
    return (o.folder, printable(o.job, 40), o.status, *cut, str(len(o.cautions) or ""))


def as_csv(outcomes: Sequence[Outcome]) -> bytes:
    """The outcomes as a table for a spreadsheet; no text of a job can become a formula there."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    names = [f.name for f in fields(Outcome)]
    writer.writerow(names)
    for outcome in outcomes:
        writer.writerow(_cell(getattr(outcome, name)) for name in names)
    return stream.getvalue().encode("utf-8", "replace")


def _cell(value: object) -> object:
    if isinstance(value, tuple):
        value = "; ".join(value)
    if not isinstance(value, str):
        return value
    text = printable(value, 2000)
    return f"'{text}" if text[:1] in "=+-@" and text else text


def as_json(outcomes: Sequence[Outcome]) -> bytes:
    """The outcomes for other programs."""
    record = {"version": __version__, "jobs": [asdict(o) for o in outcomes]}
    return (json.dumps(record, indent=1) + "\n").encode()
