"""What became of the jobs of a batch: as tables for the terminal, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

from blankcam import __version__
from blankcam.faults import printable
from blankcam.outputs.rows import Field, Section, field, tabulate

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


OUTCOME: tuple[Field[Outcome], ...] = (
    field("folder", "folder", lambda o: o.folder),
    field("job", "instrument", lambda o: printable(o.job, 40)),
    field("status", "", lambda o: o.status),
    field("programs", "programs", lambda o: o.programs or None),
    field("minutes", "time", lambda o: o.minutes if o.programs else None, "min"),
    field("gouge_um", "below the part", lambda o: o.gouge_um if o.programs else None, "µm", 1),
    field("left_um", "left on it", lambda o: o.left_um if o.programs else None, "µm", 1),
    field("cautions", "cautions", lambda o: len(o.cautions) or None),
)


def sections(outcomes: Sequence[Outcome], out: str | None) -> tuple[Section, ...]:
    """The outcomes as tables for the terminal.

    ``out``: the folder that holds the summary; None where it could not be written.
    """
    counts = Counter(o.status for o in outcomes)
    counted = ", ".join(f"{counts[s]} {s}" for s in STATUSES if counts[s])
    table = Section(
        title=f"{len(outcomes)} jobs: {counted}",
        table=tabulate("jobs", OUTCOME, outcomes),
        notes=(f"in {out}, with {CSV} and {JSON}",) if out else (),
    )
    faults = tuple(fault for o in outcomes for fault in o.faults)
    return (table, Section(title="Not made", notes=faults)) if faults else (table,)


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
    return f"'{text}" if text[:1] in tuple("=+-@\uff1d\uff0b\uff0d\uff20") else text


def as_json(outcomes: Sequence[Outcome]) -> bytes:
    """The outcomes for other programs."""
    record = {"version": __version__, "jobs": [asdict(o) for o in outcomes]}
    return (json.dumps(record, indent=1) + "\n").encode()
