"""A run of instruments: every job of a folder, or of a table's rows, each in its own sub-folder.

The workers compute and hand back bytes; only this process writes, each folder as a whole. So a
worker that dies, or a run that is stopped, leaves whole folders only, and workers may stand on
other computers. Stands beside ``make``, on the same layers below.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import (
    Executor,
)
from contextlib import closing, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from blankcam import __version__, digest, output_folder, workers
from blankcam.faults import (
    EXIT_DONE,
    EXIT_REFUSED,
    EXIT_UNUSABLE,
    BlankcamError,
    Fault,
    InputError,
    OutputError,
    RefusedError,
    printable,
)
from blankcam.inputs import job_file, job_table
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.outputs.tables import batch_table
from blankcam.outputs.tables.batch_table import Outcome
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage

LONGEST_NAME = 80  # bytes of a sub-folder's name
_DEVICES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(10))]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job to make, as it is handed to a worker."""

    name: str
    """Of its sub-folder."""
    job: Job
    profile: Profile
    stage: Stage
    stamp: str
    """Changes with whatever changes the files: job, profile, stage, version."""
    version: str = __version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What a worker hands back: files to write, or faults."""

    files: dict[str, bytes]
    outcome: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Jobs:
    """The jobs of a run, each read only when it is come to, and again at every look."""

    names: tuple[str, ...]
    """Of their sub-folders."""
    sources: tuple[str, ...]
    """Where each comes from."""
    every: Callable[[], Iterable[Job | BlankcamError]]
    """The jobs, or why there is none."""

    def __len__(self) -> int:
        """How many there are."""
        return len(self.names)

    def __iter__(self) -> Iterator[tuple[str, str, Job | BlankcamError]]:
        """Names of sub-folders, sources, and the jobs or why there is none."""
        return zip(self.names, self.sources, self.every(), strict=True)


def jobs_of(source: str, table: str | None) -> Jobs:
    """The jobs of a folder by the names of their files, or of a base job and its table.

    Raises
    ------
    InputError
        When there is no such folder, no job in it, or the table can't be used.
    """
    if table is not None:
        rows = job_table.jobs(source, table)
        return Jobs(
            names=tuple(safe_names(rows.names())),
            sources=tuple(where for where, _ in rows.rows),
            every=lambda: (job for _, job in rows),
        )
    paths = _job_files(source)
    return Jobs(
        names=tuple(safe_names(p.stem for p in paths)),
        sources=tuple(map(str, paths)),
        every=lambda: (_loaded(str(p)) for p in paths),
    )


def _job_files(source: str) -> list[Path]:
    """The job files of a folder: every TOML file in it; one that is no job is told as unusable."""
    try:
        if not Path(source).is_dir():
            fix = "for one job: blankcam make, or --rows with a table"
            raise InputError(Fault(where=source, wrong="is not a folder", fix=fix))
        paths = sorted(p for p in Path(source).iterdir() if p.suffix.lower() == ".toml")
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=source, wrong=f"can't be read ({fault})")) from None
    if not paths:
        raise InputError(Fault(where=source, wrong="holds no job files", fix="they end in .toml"))
    return paths


def _loaded(path: str) -> Job | BlankcamError:
    try:
        return job_file.load(path)
    except BlankcamError as failed:
        return failed


def safe_names(names: Iterable[str]) -> list[str]:
    """Names for sub-folders from hostile text, each once, also where case does not count."""
    taken = {batch_table.CSV, batch_table.JSON, output_folder.LIST_NAME}
    counts: Counter[str] = Counter()
    safe = []
    for name in names:
        first = candidate = safe_name(name)
        while candidate.casefold() in taken:
            counts[first.casefold()] += 1
            candidate = f"{first}-{counts[first.casefold()] + 1}"
        taken.add(candidate.casefold())
        safe.append(candidate)
    return safe


def safe_name(name: str) -> str:
    """Letters, digits, marks on letters, ``.-_`` and spaces; never hidden, long or a device."""
    plain = unicodedata.normalize("NFC", name.encode("utf-8", "replace").decode())
    kept = "".join(c if unicodedata.category(c)[0] in "LMN" or c in "-._ " else "_" for c in plain)
    kept = re.sub(r"\s+", " ", kept).strip(". ")
    kept = kept.encode()[:LONGEST_NAME].decode(errors="ignore").strip(". ")
    return f"{kept}_" if kept.partition(".")[0].casefold() in _DEVICES else kept or "job"


def stamp_of(job: Job, profile: Profile, stage: Stage) -> str:
    """A digest of all that a set of files is made from."""
    machine = json.dumps(asdict(profile), sort_keys=True, default=_plain)
    parts = (__version__, str(stage), job.digest, repr(job.assumed), machine)
    return digest.of_text("\n".join(parts))


def _plain(value: object) -> object:
    """Sets in order: their own order differs from run to run."""
    return sorted(map(str, value)) if isinstance(value, set | frozenset) else str(value)


def batch(
    found: Jobs,
    out: str,
    machine: str | None,
    stage: Stage,
    *,
    pool: Callable[[], Executor],
    at_once: int = 2,
    force: bool = False,
    told: Callable[[Outcome], None] = lambda _: None,
    listed: Callable[[list[Outcome]], None] = lambda _: None,
) -> list[Outcome]:
    """Make all jobs, write each folder as it comes, then the summary.

    Parameters
    ----------
    pool : makes an executor; called again where one breaks
    at_once : jobs handed out at a time, a few more than there are workers
    force : go on in folders that hold the maker's own files; they are kept
    told : called with each outcome as it comes
    listed : called with all of them, before the summary is written

    Returns
    -------
    The outcomes in the jobs' order.

    Raises
    ------
    OutputError
        When the summary can't be written, or another batch is at work in the folder.
    """
    output_folder.check_beside(out, (batch_table.CSV, batch_table.JSON), force=force)
    done: dict[str, Outcome] = {}

    def note(outcome: Outcome) -> None:
        done[outcome.folder] = outcome
        told(outcome)

    tasks = _tasks(found, out, machine, stage, note)
    with output_folder.hold(out):
        with closing(workers.results_of(work, tasks, pool, at_once)) as results:
            for task, result in results:
                note(_put(out, task, result, force=force))
        outcomes = [done[name] for name in found.names]
        listed(outcomes)
        files = {
            batch_table.CSV: batch_table.as_csv(outcomes),
            batch_table.JSON: batch_table.as_json(outcomes),
        }
        output_folder.write_beside(out, files, force=force)
    return outcomes


def usable(found: Jobs) -> list[tuple[str, Job]]:
    """The jobs that could be read, by the names of their folders."""
    return [(name, job) for name, _, job in found if isinstance(job, Job)]


def write_stock(
    found: Jobs, out: str, machine: str | None, stage: Stage, size: str, *, force: bool = False
) -> str:
    """All parts of all jobs that can be used so, on one sheet of stock; returns what to tell.

    Raises
    ------
    BlankcamError
        Where the sheet is too small, can't be read or can't be written.
    """
    from blankcam.workflows import make
    from blankcam.workflows.request import machine_of

    good: list[tuple[str, Design]] = []
    profile: Profile | None = None
    for name, _, job in found:
        with suppress(BlankcamError):
            if not isinstance(job, BlankcamError):
                worked = design(job)
                profile = profile or machine_of(job, machine)
                good.append((name, worked))
    if profile is None or not good:
        raise RefusedError(Fault(where=out, wrong="no job has parts to lay out",
                                 fix="mend the jobs that can't be used"))  # fmt: skip
    drawn = make.stock_drawings(good, profile, stage, size)
    output_folder.write_beside(out, drawn, force=force)
    count = sum(len(d.parts) for _, d in good)
    return f"laid out {count} parts of {len(good)} jobs on {size}: {', '.join(drawn)}"


def _tasks(
    found: Jobs, out: str, machine: str | None, stage: Stage, note: Callable[[Outcome], None]
) -> Iterator[Task]:
    """The tasks that are to be done; the others are noted at once."""
    from blankcam.workflows.request import machine_of

    for name, source, job in found:
        try:
            if isinstance(job, BlankcamError):
                raise job
            profile = machine_of(job, machine)
        except BlankcamError as failed:
            note(_failed(name, getattr(job, "instrument", None), source, failed))
            continue
        stamp = stamp_of(job, profile, stage)
        place = str(Path(out) / name)
        if output_folder.stands(place, stamp):
            note(_kept(place, name, job))
        else:
            yield Task(name=name, job=job, profile=profile, stage=stage, stamp=stamp)


def _failed(name: str, instrument: Any, source: str, failed: BlankcamError) -> Outcome:
    return Outcome(
        folder=name,
        job=getattr(instrument, "name", ""),
        source=source,
        status="refused" if failed.exit_code == EXIT_REFUSED else "unusable",
        faults=tuple(str(f) for f in failed.faults),
    )


def _kept(place: str, name: str, job: Job) -> Outcome:
    """The outcome of a folder that stands, from its own report."""
    try:
        report = json.loads((Path(place) / "report.json").read_text(encoding="utf-8"))
        figures = _figures(report["programs"]) | {"cautions": tuple(report["cautions"])}
    except (OSError, ValueError, KeyError, TypeError):
        figures = {}
    return Outcome(folder=name, job=job.instrument.name, source=job.path, status="kept", **figures)


def _figures(programs: Sequence[dict[str, Any]]) -> dict[str, Any]:
    return {
        "programs": len(programs),
        "minutes": round(sum(p["seconds"] for p in programs) / 60, 1),
        "gouge_um": max((p["proof"]["gouge_um"] for p in programs), default=0.0),
        "left_um": max((p["proof"]["left_um"] for p in programs), default=0.0),
    }


def work(task: Task) -> Result:
    """Make one job's files: what a worker runs. Every failure becomes an outcome."""
    from blankcam.workflows import make

    job = task.job
    if task.version != __version__:
        wrong = f"its worker runs version {__version__}, this run is of {task.version}"
        return Result(files={}, outcome=_broken(task, wrong))
    try:
        files = make.build(job, task.profile, task.stage)
    except BlankcamError as failed:
        return Result(files={}, outcome=_failed(task.name, job.instrument, job.path, failed))
    except Exception as fault:  # noqa: BLE001 - one bad job must not stop the rest
        words = printable(f"{type(fault).__name__}: {fault}", 300)
        return Result(files={}, outcome=_broken(task, f"a fault of the program itself: {words}"))
    report = json.loads(files["report.json"])
    outcome = Outcome(
        folder=task.name,
        job=job.instrument.name,
        source=job.path,
        status="made",
        cautions=tuple(report["cautions"]),
        **_figures(report["programs"]),
    )
    return Result(files=dict(files), outcome=outcome)


def _broken(task: Task, wrong: str) -> Outcome:
    fault = InputError(Fault(where=task.job.path, wrong=wrong))
    return _failed(task.name, task.job.instrument, task.job.path, fault)


def _put(out: str, task: Task, result: Result | workers.Lost, *, force: bool) -> Outcome:
    """Write one job's folder; a folder that can't be written is this job's fault alone."""
    if isinstance(result, workers.Lost):
        return _broken(task, f"its worker was lost, twice: {result.why}")
    if result.outcome.status != "made":
        return result.outcome
    try:
        place = str(Path(out) / task.name)
        output_folder.write(place, result.files, force=force, stamp=task.stamp)
    except OutputError as failed:
        return _failed(task.name, task.job.instrument, task.job.path, failed)
    return result.outcome


def exit_code(outcomes: Iterable[Outcome]) -> int:
    """2 where any job can't be used, else 1 where any is refused, else 0."""
    statuses = {o.status for o in outcomes}
    if "unusable" in statuses:
        return EXIT_UNUSABLE
    return EXIT_REFUSED if "refused" in statuses else EXIT_DONE
