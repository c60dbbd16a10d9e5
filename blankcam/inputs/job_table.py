"""A run of instruments from one base job and a table: a row an instrument, a column a key path.

A cell says what the job file would say after the key: ``43.5 mm``, ``bone``, or a TOML table or
list such as ``{ bass = "0.5 mm", treble = "0.4 mm" }``; a plain number stays one, so that a length
without a unit is refused as in a job. An empty cell leaves the base job's value.
"""

from __future__ import annotations

import copy
import csv
import io
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from blankcam.faults import BlankcamError, Fault, InputError
from blankcam.inputs.border import Path, parse_toml, read_text, spelled
from blankcam.inputs.job import Job
from blankcam.inputs.job_file import fill, from_tables, known_keys

MOST_ROWS = 10_000
_STEP = re.compile(r"([a-z_]+)((?:\[\d{1,2}\])?)(?:\.|$)")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_TEXTS = (("instrument", "name"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRows:
    """The rows of a table, each made a job only when it is come to."""

    base: dict[str, Any]
    columns: tuple[Path, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    """Where each stands, ``run.csv:3``, and its cells."""

    def __len__(self) -> int:
        """How many rows there are."""
        return len(self.rows)

    def __iter__(self) -> Iterator[tuple[str, Job | BlankcamError]]:
        """A name for each row, and its job or why there is none."""
        for name, (where, cells) in zip(self.names(), self.rows, strict=True):
            yield name, _job(self.base, self.columns, cells, where)

    def names(self) -> Iterator[str]:
        """The instrument's name of each row, or which row it is."""
        at = next((i for i, c in enumerate(self.columns) if c in _TEXTS), None)
        for where, cells in self.rows:
            named = at is not None and len(cells) == len(self.columns) and cells[at]
            yield named or f"row {where.rpartition(':')[2]}"


def jobs(base: str, table: str) -> JobRows:
    """The jobs of a table, in its order.

    Raises
    ------
    InputError
        When the base job is not TOML, or the table can't be used at all.
    """
    tables = parse_toml(read_text(base), base)
    head, rows = _cells(table)
    columns = tuple(_column(name, table) for name in head)
    if twice := {spelled(c) for c in columns if columns.count(c) > 1}:
        raise InputError(Fault(where=table, key=min(twice), wrong="is the name of two columns"))
    places = tuple((f"{table}:{line}", tuple(row)) for line, row in rows)
    return JobRows(base=tables, columns=columns, rows=places)


def _cells(path: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    text = read_text(path)
    first = text.partition("\n")[0]
    between = max(",;\t", key=first.count)  # a sheet's own sign depends on its locale
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    try:
        rows = [(reader.line_num, [c.strip() for c in row]) for row in reader if any(row)]
    except csv.Error as fault:
        raise InputError(
            Fault(where=path, line=reader.line_num, wrong=f"is not a table: {fault}")
        ) from None
    if len(rows) < 2:
        raise InputError(
            Fault(
                where=path,
                wrong="has no rows",
                fix="write key paths in its first line, then a row for each instrument",
            )
        )
    if len(rows) - 1 > MOST_ROWS:
        raise InputError(Fault(where=path, wrong=f"has over {MOST_ROWS} rows"))
    return rows[0][1], rows[1:]


def _column(name: str, table: str) -> Path:
    """The key path of a column; raises InputError where a job has no such key."""
    path: list[str | int] = []
    at = 0
    while step := _STEP.match(name, at):
        path.append(step[1])
        path += [int(step[2][1:-1])] if step[2] else []
        at = step.end()
        if at == len(name):
            break
    known = tuple(known_keys(()))
    good = len(path) > 1 and at == len(name) and path[0] in known
    inner = path[:2] if path[:1] == ["strings"] else path[:1]
    if (
        not good
        or len(path) == len(inner)
        or path[len(inner)] not in tuple(known_keys(tuple(inner)))
    ):
        raise InputError(
            Fault(
                where=table,
                line=1,
                found=name,
                wrong="is not a key path of a job",
                fix="write it like nut.seat_width, strings[6].gauge or nut.first_fret.bass",
            )
        )
    return tuple(path)


def _job(
    base: dict[str, Any], columns: Sequence[Path], row: Sequence[str], where: str
) -> Job | BlankcamError:
    tables = copy.deepcopy(base)
    try:
        if len(row) != len(columns):
            wrong = f"has {len(row)} cells for {len(columns)} columns"
            raise InputError(Fault(where=where, wrong=wrong))
        for column, cell in zip(columns, row, strict=True):
            if cell:
                _set(tables, column, _value(column, cell, where), where)
        filled, assumed = fill(tables)
        return from_tables(filled, assumed, where, {})
    except BlankcamError as failed:
        return failed


def _value(column: Path, cell: str, where: str) -> Any:
    if column in _TEXTS:
        return cell
    if not (cell[0] in "{[\"'" or _NUMBER.fullmatch(cell)):
        return cell
    try:
        return tomllib.loads(f"x = {cell}")["x"]
    except (ValueError, RecursionError):  # no TOML, or a number of thousands of digits
        raise InputError(
            Fault(where=where, key=spelled(column), found=cell, wrong="is not TOML")
        ) from None


def _string(strings: Any, number: int) -> Any:
    """The string of that number, None where the base job has none such."""
    entries = strings if isinstance(strings, list) else []
    return next((s for s in entries if isinstance(s, dict) and s.get("number") == number), None)


def _set(tables: dict[str, Any], path: Path, value: Any, where: str) -> None:
    """Lay one value over the tables; an inner key of a value that is not a table is a fault."""
    here: Any = tables
    for i, step in enumerate(path[:-1]):
        if isinstance(step, int):
            here = _string(here, step)
        else:
            empty: Any = [] if isinstance(path[i + 1], int) else {}
            here = here.setdefault(step, empty) if isinstance(here, dict) else None
    if not isinstance(here, dict):
        raise InputError(
            Fault(
                where=where,
                key=spelled(path),
                found=value,
                wrong="has no place in the base job",
                fix=f"give the base job {spelled(path[:-1])} as a table that has it",
            )
        )
    here[str(path[-1])] = value
