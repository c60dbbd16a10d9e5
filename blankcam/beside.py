"""Work done beside the main line, on a second core, where there is one.

Two parts, drawings and papers do not wait for each other. A forked process takes what is handed to
it in order; where the system can't fork, or has one core, the same work is done in line.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

P = ParamSpec("P")
T = TypeVar("T")


class Hand:
    """Takes work; ``do`` returns a future of it."""

    def __init__(self, pool: ProcessPoolExecutor | None) -> None:
        self._pool = pool

    def do(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have it done beside, or in line where there is no second process."""
        if self._pool is None:
            return _done(work, *args, **kwargs)
        with warnings.catch_warnings():
            # forking beside a library's idle threads is safe here: the child only computes
            warnings.simplefilter("ignore", DeprecationWarning)
            return self._pool.submit(work, *args, **kwargs)


@contextmanager
def second_hand(wanted: bool) -> Iterator[Hand]:
    """A hand for the length of a block; ``wanted`` is False where all cores have work already."""
    if not wanted or not _can_fork():
        yield Hand(None)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(max_workers=1, mp_context=context) as pool:
        yield Hand(pool)


def _can_fork() -> bool:
    import multiprocessing

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1
    return cores > 1 and "fork" in multiprocessing.get_all_start_methods()


def _done(work: Callable[..., T], *args: Any, **kwargs: Any) -> Future[T]:
    from concurrent.futures import Future

    future: Future[T] = Future()
    try:
        future.set_result(work(*args, **kwargs))
    except Exception as fault:  # noqa: BLE001 - told where the result is asked for
        future.set_exception(fault)
    return future
