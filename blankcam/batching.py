"""A run of instruments: every job of a folder, or of a table's rows, each in its own sub-folder.

The workers compute and hand back bytes; only this process writes, each folder as a whole. So a
worker that dies, or a run that is stopped, leaves whole folders only, and workers may stand on
other computers. Stands beside ``run``, on the same layers below.
"""

from __future__ import annotations

import csv
import io
import json
import multiprocessing
import os
import re
import signal
import unicodedata
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict, dataclass, fields
from itertools import islice
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Thread
from typing import Any

from blankcam import __version__, digest, folder
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
from blankcam.job import read, rows
from blankcam.job.job import Job
from blankcam.machine.laser import laser_cautions
from blankcam.machine.profile import Kind, Profile
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage
from blankcam.writers.tables import Section

SUMMARY_CSV, SUMMARY_JSON, STOCK = "summary.csv", "summary.json", "stock.dxf"
LONGEST_NAME = 80  # bytes of a sub-folder's name
STATUSES = ("made", "kept", "refused", "unusable")
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What a worker hands back: files to write, or faults."""

    files: dict[str, bytes]
    outcome: Outcome


Jobs = list[tuple[str, str, Job | BlankcamError]]
"""Names of sub-folders, sources, and the jobs or why there is none."""


def jobs_of(source: str, table: str | None) -> Jobs:
    """The jobs of a folder by the names of their files, or of a base job and its table.

    Raises
    ------
    InputError
        When there is no such folder, no job in it, or the table can't be used.
    """
    if table is not None:
        found = [(n, getattr(j, "path", table), j) for n, j in rows.jobs(source, table)]
    else:
        found = [(p.stem, str(p), _loaded(str(p))) for p in _job_files(source)]
    names = safe_names(n for n, _, _ in found)
    return [(name, where, job) for name, (_, where, job) in zip(names, found, strict=True)]


def _job_files(source: str) -> list[Path]:
    """The job files of a folder: every TOML file in it; one that is no job is told as unusable."""
    try:
        if not Path(source).is_dir():
            mend = "for one job: blankcam make, or --rows with a table"
            raise InputError(Fault(where=source, wrong="is not a folder", mend=mend))
        paths = sorted(p for p in Path(source).iterdir() if p.suffix.lower() == ".toml")
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=source, wrong=f"can't be read ({fault})")) from None
    if not paths:
        raise InputError(Fault(where=source, wrong="holds no job files", mend="they end in .toml"))
    return paths


def _loaded(path: str) -> Job | BlankcamError:
    try:
        return read.load(path)
    except BlankcamError as failed:
        return failed


def safe_names(names: Iterable[str]) -> list[str]:
    """Names for sub-folders from hostile text, each once, also where case does not count."""
    taken = {SUMMARY_CSV, SUMMARY_JSON, folder.LIST_NAME}
    safe = []
    for name in names:
        first = candidate = _safe_name(name)
        count = 1
        while candidate.casefold() in taken:
            count += 1
            candidate = f"{first}-{count}"
        taken.add(candidate.casefold())
        safe.append(candidate)
    return safe


def _safe_name(name: str) -> str:
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
) -> list[Outcome]:
    """Make all jobs, write each folder as it comes, then the summary.

    Parameters
    ----------
    pool : makes an executor; called again where one breaks
    at_once : jobs handed out at a time, a few more than there are workers
    force : go on in folders that hold the maker's own files; they are kept
    told : called with each outcome as it comes

    Returns
    -------
    The outcomes in the jobs' order.

    Raises
    ------
    OutputError
        When the summary can't be written.
    """
    folder.check_beside(out, (SUMMARY_CSV, SUMMARY_JSON), force=force)
    done: dict[str, Outcome] = {}

    def note(outcome: Outcome) -> None:
        done[outcome.folder] = outcome
        told(outcome)

    tasks = _tasks(found, out, machine, stage, note)
    with closing(_worked(tasks, pool, at_once)) as results:
        for task, result in results:
            note(_put(out, task, result, force=force))
    outcomes = [done[name] for name, _, _ in found]
    files = {SUMMARY_CSV: summary_csv(outcomes), SUMMARY_JSON: summary_json(outcomes)}
    folder.write_beside(out, files, force=force)
    return outcomes


def lay_out(
    found: Jobs, out: str, machine: str | None, stage: Stage, size: str, *, force: bool = False
) -> str:
    """All parts of all jobs that can be used so, on one sheet of stock; returns what to tell.

    Raises
    ------
    BlankcamError
        Where the sheet is too small, can't be read or can't be written.
    """
    from blankcam import run
    from blankcam.proving import machine_of

    good: list[tuple[str, Design]] = []
    profile: Profile | None = None
    for name, _, job in found:
        with suppress(BlankcamError):
            if not isinstance(job, BlankcamError):
                worked = design(job)
                profile = profile or machine_of(job, machine)
                if profile.kind is Kind.LASER:
                    laser_cautions(job.path, job.blanks.material)
                good.append((name, worked))
    if profile is None or not good:
        raise RefusedError(Fault(where=out, wrong="no job has parts to lay out"))
    drawn = run.laid_out(good, profile, stage, size)
    folder.write_beside(out, {STOCK: drawn}, force=force)
    return f"laid out {2 * len(good)} parts of {len(good)} jobs on {size}: {STOCK}"


def _tasks(
    found: Jobs, out: str, machine: str | None, stage: Stage, note: Callable[[Outcome], None]
) -> Iterator[Task]:
    """The tasks that are to be done; the others are noted at once."""
    from blankcam.proving import machine_of

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
        if folder.stands(place, stamp):
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
    from blankcam import run

    job = task.job
    if task.version != __version__:
        wrong = f"its worker runs version {__version__}, this run is of {task.version}"
        return Result(files={}, outcome=_broken(task, wrong))
    try:
        files = run.build(job, task.profile, task.stage)
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


def _put(out: str, task: Task, result: Result, *, force: bool) -> Outcome:
    """Write one job's folder; a folder that can't be written is this job's fault alone."""
    if result.outcome.status != "made":
        return result.outcome
    try:
        place = str(Path(out) / task.name)
        folder.write(place, result.files, force=force, stamp=task.stamp)
    except OutputError as failed:
        return _failed(task.name, task.job.instrument, task.job.path, failed)
    return result.outcome


def _worked(
    tasks: Iterator[Task], pool: Callable[[], Executor], at_once: int
) -> Generator[tuple[Task, Result], None, None]:
    """Results as they come, never more than ``at_once`` under way.

    A worker that dies breaks the pool under all of them: those are tried again one by one, so
    that only the one that kills its worker is given up.
    """
    lost: dict[str, tuple[Task, str]] = {}
    while True:
        with _opened(pool) as executor:
            yield from _through(executor, tasks, at_once, lost)
        if not lost:
            return
        suspects, lost = [task for task, _ in lost.values()], {}
        for suspect in suspects:
            with _opened(pool) as executor:
                yield from _through(executor, iter([suspect]), 1, lost)
            for task, why in lost.values():
                wrong = f"its worker was lost, twice: {printable(why, 200)}"
                yield task, Result(files={}, outcome=_broken(task, wrong))
            lost.clear()


def _through(
    executor: Executor, tasks: Iterator[Task], at_once: int, lost: dict[str, tuple[Task, str]]
) -> Iterator[tuple[Task, Result]]:
    """Tasks through one executor until they end or it breaks; ``lost`` takes those without result."""
    under_way: dict[Future[Result], Task] = {}
    while True:
        if not lost:
            for task in islice(tasks, at_once - len(under_way)):
                try:
                    under_way[executor.submit(work, task)] = task
                except RuntimeError as broken:  # broken since the last result
                    lost[task.name] = (task, str(broken))
        if not under_way:
            return
        for future in wait(under_way, return_when=FIRST_COMPLETED).done:
            task = under_way.pop(future)
            try:
                result = future.result()
            except Exception as fault:  # noqa: BLE001 - whatever the executor's kind raises
                lost[task.name] = (task, f"{type(fault).__name__}: {fault}")
            else:
                yield task, result


@contextmanager
def _opened(pool: Callable[[], Executor]) -> Iterator[Executor]:
    """An executor that is shut down in the end, at once where the run is stopped."""
    executor = pool()
    try:
        yield executor
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    else:
        executor.shutdown()


def local_pool(jobs: int) -> Callable[[], Executor]:
    """Makes pools of processes on this computer."""
    context = multiprocessing.get_context("spawn")  # a fork beside threads may hang
    return lambda: ProcessPoolExecutor(jobs, mp_context=context, initializer=_worker_begins)


def _worker_begins() -> None:
    """A worker ends quietly at Ctrl-C, and does not outlive a run that was killed."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if (parent := multiprocessing.parent_process()) is not None:
        Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


def cluster_pool(address: str) -> Callable[[], Executor]:
    """Makes executors of an existing Dask cluster.

    Raises
    ------
    InputError
        When the extra is not installed, or nobody answers at the address.
    """
    try:
        import distributed
    except ImportError:
        fault = Fault(
            where="--scheduler", wrong="needs distributed", mend="pip install 'blankcam[cluster]'"
        )
        raise InputError(fault) from None
    try:
        client: Any = distributed.Client(address, timeout=10)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as failed:
        wrong = f"nobody answers there ({printable(failed, 100)})"
        raise InputError(Fault(where="--scheduler", found=address, wrong=wrong)) from None
    return lambda: client.get_executor(pure=False)


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def exit_code(outcomes: Iterable[Outcome]) -> int:
    """2 where any job can't be used, else 1 where any is refused, else 0."""
    statuses = {o.status for o in outcomes}
    if "unusable" in statuses:
        return EXIT_UNUSABLE
    return EXIT_REFUSED if "refused" in statuses else EXIT_DONE


def summary(outcomes: Sequence[Outcome], out: str) -> tuple[Section, ...]:
    """The outcomes as tables for the terminal."""
    table = Section(
        title=f"{len(outcomes)} jobs: {_counted(outcomes)}",
        columns=("folder", "instrument", "", "programs", "min", "below um", "left um", "cautions"),
        rows=tuple(_row(o) for o in outcomes),
        notes=(f"in {out}, with {SUMMARY_CSV} and {SUMMARY_JSON}",),
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


def summary_csv(outcomes: Sequence[Outcome]) -> bytes:
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


def summary_json(outcomes: Sequence[Outcome]) -> bytes:
    """The outcomes for other programs."""
    record = {"version": __version__, "jobs": [asdict(o) for o in outcomes]}
    return (json.dumps(record, indent=1) + "\n").encode()
