"""The readings after stringing: a small TOML file with a ``[readings]`` table."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Literal

from blankcam import digest
from blankcam.data import table
from blankcam.faults import Fault, InputError
from blankcam.inputs.border import FileKind, Source, parse_toml, read_text, source_of, validated
from blankcam.inputs.fields import Length, Quantity, Table
from blankcam.inputs.job import PerString
from blankcam.inputs.job_schema import Lengths
from blankcam.inputs.units import HOURS


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was read, mm; values per string as the job writes them."""

    path: str
    first_fret: PerString
    action: PerString
    relief: float | None
    """As read now, strings at pitch."""
    settled: float | None
    """Hours under tension."""
    uncertainty: float
    """The most a reading is wrong by."""
    uncertainty_assumed: bool
    stage: str
    """What the parts were cut to when they were strung the first time: ``rough`` or ``final``."""
    last_refit: str
    """``cut``, or ``not cut`` where what the last refit asked for was never done."""
    want_first_fret: PerString | None
    """Where the maker now wants another clearance than the job says."""
    want_action: PerString | None

    @property
    def digest(self) -> str:
        """Of the values, however the file is laid out."""
        values = {k: v for k, v in asdict(self).items() if k not in ("path", "last_refit")}
        return digest.of_text(json.dumps(values, sort_keys=True))


FILE = FileKind(name="a readings file")


class ReadingsTable(Table):
    """Clearances of the strung instrument, one a string from the bass side."""

    first_fret: Lengths("readings.first_fret")  # type: ignore[valid-type]
    action: Lengths("readings.action")  # type: ignore[valid-type]
    relief: Length("readings.relief") | None = None  # type: ignore[valid-type]
    settled: Quantity("readings.settled", HOURS) | None = None  # type: ignore[valid-type]
    uncertainty: Length("readings.uncertainty") | None = None  # type: ignore[valid-type]
    stage: Literal["rough", "final"] = "rough"
    last_refit: Literal["cut", "not cut"] = "cut"
    want_first_fret: Lengths("readings.first_fret") | None = None  # type: ignore[valid-type]
    want_action: Lengths("readings.action") | None = None  # type: ignore[valid-type]


class ReadingsFile(Table):
    """The file."""

    readings: ReadingsTable


def load(path: str, strings: int) -> Readings:
    """The readings in a file; raises InputError as `parse` does, or when it can't be read."""
    return parse(read_text(path), path, strings)


def parse(text: str, path: str, strings: int) -> Readings:
    """The readings in a text.

    Parameters
    ----------
    text : TOML
    path : the name the user knows it by, for messages
    strings : how many the job has

    Raises
    ------
    InputError
        With every fault, each with its key path and line.
    """
    source = source_of(text, path)
    model = validated(ReadingsFile, parse_toml(text, path), source, FILE).readings
    if faults := list(_count_faults(model, source, strings)):
        raise InputError(faults)
    usual = float(table("uncertainty")["readings"]["uncertainty"])
    return Readings(
        path=path,
        first_fret=model.first_fret,
        action=model.action,
        relief=model.relief,
        settled=model.settled,
        uncertainty=usual if model.uncertainty is None else model.uncertainty,
        uncertainty_assumed=model.uncertainty is None,
        stage=model.stage,
        last_refit=model.last_refit,
        want_first_fret=model.want_first_fret,
        want_action=model.want_action,
    )


def _count_faults(model: ReadingsTable, source: Source, strings: int) -> Iterator[Fault]:
    for key in ("first_fret", "action", "want_first_fret", "want_action"):
        value = getattr(model, key)
        if isinstance(value, tuple) and len(value) != strings:
            wrong = f"has {len(value)} values for {strings} strings"
            fix = "one value a string, from the bass side"
            yield source.fault(("readings", key), wrong, fix)


def cautions(readings: Readings) -> list[str]:
    """What to know before cutting to these readings."""
    least = table("uncertainty")["readings"]["least_settled"]
    found = []
    if readings.settled is None:
        found.append(f"readings: settled is not given; wait {least} h at pitch before reading")
    elif readings.settled < least:
        found.append(
            f"readings: {readings.settled:g} h at pitch are few; the neck still moves, wait {least} h"
        )
    if readings.uncertainty_assumed:
        found.append(f"readings: uncertainty assumed to be {readings.uncertainty:g} mm")
    return found
