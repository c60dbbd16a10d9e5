"""Work handed to other processes or computers; what a lost worker costs is its own task."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from multiprocessing.process import BaseProcess
from threading import Thread
from typing import Any, TypeVar

from blankcam.faults import Fault, InputError, printable

Task = TypeVar("Task")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Lost:
    """In place of a result: its worker died twice, the second time with nothing else to do."""

    why: str


def worked(
    work: Callable[[Task], Result],
    tasks: Iterator[Task],
    pool: Callable[[], Executor],
    at_once: int,
) -> Generator[tuple[Task, Result | Lost], None, None]:
    """Results as they come, never more than ``at_once`` under way.

    A worker that dies breaks the pool under all of them: those are tried again one by one, so
    that only the one that kills its worker is given up.
    """
    while True:
        lost: list[tuple[Task, str]] = []
        with _opened(pool) as executor:
            yield from _through(executor, work, tasks, at_once, lost)
        if not lost:
            return
        for suspect, _ in lost:
            again: list[tuple[Task, str]] = []
            with _opened(pool) as executor:
                yield from _through(executor, work, iter([suspect]), 1, again)
            for task, why in again:
                yield task, Lost(printable(why, 200))


def _through(
    executor: Executor,
    work: Callable[[Task], Result],
    tasks: Iterator[Task],
    at_once: int,
    lost: list[tuple[Task, str]],
) -> Iterator[tuple[Task, Result]]:
    """Tasks through one executor until they end or it breaks; ``lost`` takes those without result."""
    under_way: dict[Future[Result], Task] = {}
    while True:
        if not lost:
            for task in islice(tasks, at_once - len(under_way)):
                try:
                    under_way[executor.submit(work, task)] = task
                except RuntimeError as broken:  # broken since the last result
                    lost.append((task, str(broken)))
        if not under_way:
            return
        for future in wait(under_way, return_when=FIRST_COMPLETED).done:
            task = under_way.pop(future)
            try:
                result = future.result()
            except Exception as fault:  # noqa: BLE001 - whatever the executor's kind raises
                lost.append((task, f"{type(fault).__name__}: {fault}"))
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


@contextmanager
def cluster_pool(address: str) -> Iterator[tuple[int, Callable[[], Executor]]]:
    """How many tasks an existing Dask cluster works at a time, and what makes its executors.

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
        client: Any = distributed.Client(address, timeout=5)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as failed:
        wrong = f"nobody answers there ({printable(failed, 100)})"
        raise InputError(Fault(where="--scheduler", found=address, wrong=wrong)) from None
    with client:
        threads: dict[str, int] = client.nthreads()
        yield max(1, sum(threads.values())), lambda: client.get_executor(pure=False)


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
