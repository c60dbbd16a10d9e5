"""Work handed to other processes or computers, and the rule that they end with the command.

What is safe. A fork copies one thread, and every lock as it then stands: a lock that another
thread held stays locked in the copy for ever. So a process is forked only while this one has a
single thread, counted by the system, libraries' threads too (``second_core``); everything else
is started anew (``local_pool``), which is safe beside any thread but takes as long as starting
the command does.

No worker outlives the command, however the command ends: the system is asked to kill a worker
when its parent dies, and each worker watches a pipe that only the parent holds open.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar
from uuid import uuid4

from blankcam.faults import BlankcamError, Fault, InputError, printable

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future
    from multiprocessing.process import BaseProcess

P = ParamSpec("P")
T = TypeVar("T")
Task = TypeVar("Task")
Result = TypeVar("Result")

_PR_SET_PDEATHSIG = 1  # prctl(2)
CONNECTS = 5.0  # s in which a cluster's scheduler must answer
WORKERS_COME = 30.0  # s in which a cluster without workers must get one
ANSWER = WORKERS_COME + 5.0  # s after which a scheduler is taken to be gone
LOOK = 10.0  # s without a result after which a cluster is asked whether it still works


@dataclass(frozen=True, slots=True)
class Worker:
    """Takes work in order; done in line where there is no process for it."""

    executor: Executor | None = None

    def submit(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have it done; what it raises is raised where the result is asked for."""
        if self.executor is None:
            return _done_in_line(work, *args, **kwargs)
        with _ctrl_c_kept_off():
            return self.executor.submit(work, *args, **kwargs)


def _done_in_line(work: Callable[..., T], *args: Any, **kwargs: Any) -> Future[T]:
    from concurrent.futures import Future

    future: Future[T] = Future()
    try:
        future.set_result(work(*args, **kwargs))
    except Exception as fault:  # noqa: BLE001 - raised where the result is asked for
        future.set_exception(fault)
    return future


@contextmanager
def second_core(wanted: bool) -> Iterator[Worker]:
    """A worker for the length of a block; in line where no second core is wanted, or safe to use.

    Raises
    ------
    BlankcamError
        When the worker was killed by somebody else.
    """
    if not (wanted and cores() > 1 and _is_safe_to_fork()):
        yield Worker()
        return
    from concurrent.futures import BrokenExecutor

    try:
        with _opened(lambda: _processes("fork", 1)) as executor:
            yield Worker(executor)
    except BrokenExecutor:
        wrong = "its second process was killed, perhaps because memory ran out"
        raise BlankcamError(
            Fault(where="blankcam", wrong=wrong, fix="close other programs and run it again")
        ) from None


def _is_safe_to_fork() -> bool:
    """Whether this process has a single thread; no where the system does not tell."""
    try:
        return sum(1 for _ in Path("/proc/self/task").iterdir()) == 1
    except OSError:
        return False


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(frozen=True, slots=True)
class Lost:
    """In place of a result: its worker died twice, the second time with nothing else to do."""

    why: str


def results_of(
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
    """Tasks through one executor until they end or it breaks; ``lost`` takes those
    without result.
    """
    from concurrent.futures import FIRST_COMPLETED, wait

    under_way: dict[Future[Result], Task] = {}
    while True:
        if not lost:
            for task in islice(tasks, at_once - len(under_way)):
                try:
                    with _ctrl_c_kept_off():
                        under_way[executor.submit(work, task)] = task
                except RuntimeError as broken:  # broken since the last result
                    lost.append((task, str(broken)))
        if not under_way:
            return
        ready = wait(under_way, timeout=LOOK, return_when=FIRST_COMPLETED).done
        if not ready and (check := getattr(executor, "check", None)):
            check()
        for future in ready:
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
        import multiprocessing

        for child in multiprocessing.active_children():
            child.terminate()
        # waited for: else the library's own thread may be closing while Python ends, and complains
        with suppress(RuntimeError):  # stopped while that thread was being started
            executor.shutdown(wait=True, cancel_futures=True)
        raise
    else:
        executor.shutdown()


def local_pool(jobs: int) -> Callable[[], Executor]:
    """Makes pools of processes on this computer."""
    return lambda: _processes("spawn", jobs)


def _processes(how: str, count: int) -> Executor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context(how)
    return ProcessPoolExecutor(
        count, mp_context=context, initializer=_begin_worker, initargs=(os.getpid(),)
    )


@contextmanager
def _ctrl_c_kept_off() -> Iterator[None]:
    """For the length of a block that may start a process: it never sees a Ctrl-C, from its start
    on.

    A process inherits what is blocked; here it waits until the end of the block.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin_worker(parent: int) -> None:
    """Ends with its parent; Ctrl-C is the parent's to act on."""
    import ctypes
    import multiprocessing
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    with suppress(OSError, AttributeError, TypeError):  # not every system has it
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if hasattr(os, "getppid") and os.getppid() != parent:  # died before it could be watched
        os._exit(1)
    if (watched := multiprocessing.parent_process()) is not None:
        Thread(target=_end_after, args=(watched,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


class _ClusterExecutor:
    """Hands work to a cluster; each piece begins at most twice, each time on another worker."""

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self._executor = client.get_executor(pure=False)

    def submit(self, work: Callable[[Task], Result], task: Task) -> Future[Any]:
        topic = f"blankcam-{uuid4().hex}"
        future: Future[Any] = self._executor.submit(_begun_at_most_twice, work, task, topic)
        return future

    def check(self) -> None:
        """Raise InputError where nobody is left to do the work."""
        try:
            _within(ANSWER, lambda: self._client.wait_for_workers(1, timeout=WORKERS_COME))
        except Exception as failed:
            wrong = f"no worker is left, and none came within {WORKERS_COME:.0f} s"
            fix = "start workers, then run the same command again: what was made is kept"
            raise InputError(
                Fault(where="--scheduler", found=self._address, wrong=wrong, fix=fix)
            ) from failed

    def shutdown(self, *, wait: bool = True, cancel_futures: bool = False) -> None:
        del cancel_futures  # closing the client does
        self._executor.shutdown(wait=wait)


def _begun_at_most_twice(work: Callable[[Task], Result], task: Task, topic: str) -> Result | Lost:
    """Run on a cluster's worker: the scheduler counts how often this was begun before."""
    import distributed

    client: Any = distributed.get_client()
    if len(client.get_events(topic)) > 1:
        return Lost("each time it was begun")
    client.log_event(topic, "begun")
    return work(task)


@contextmanager
def cluster_pool(
    address: str, told: Callable[[str], None] = lambda _: None
) -> Iterator[tuple[int, Callable[[], Executor]]]:
    """How many tasks an existing Dask cluster works at a time, and what makes its executors.

    ``told`` is given words where there is something to wait for.

    Raises
    ------
    InputError
        When the extra is not installed, nobody answers at the address, or no worker comes.
    """
    client = _client(address, told)
    try:
        if not (threads := client.nthreads()):
            told(f"waiting up to {WORKERS_COME:.0f} s for a worker to come to {address}")
            _ClusterExecutor(client, address).check()
            threads = client.nthreads()
        pool: Any = partial(_ClusterExecutor, client, address)
        yield max(1, sum(threads.values())), pool
    finally:
        with suppress(Exception):
            client.close(timeout=2)


def _client(address: str, told: Callable[[str], None]) -> Any:
    try:
        import distributed
    except ImportError:
        fault = Fault(
            where="--scheduler", wrong="needs distributed", fix="pip install 'blankcam[cluster]'"
        )
        raise InputError(fault) from None
    import logging

    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # we tell in words of our own
    connect: Any = distributed.Client
    told(f"waiting up to {CONNECTS + 1:.0f} s for {address} to answer")
    try:
        return _within(CONNECTS + 1, lambda: connect(address, timeout=CONNECTS))
    except (OSError, ValueError, TypeError) as failed:
        wrong = f"nobody answers there ({printable(failed, 100) or 'no word for 6 s'})"
        raise InputError(Fault(where="--scheduler", found=address, wrong=wrong)) from None


def _within(seconds: float, work: Callable[[], T]) -> T:
    """A call that may hang, given up after a time; raises TimeoutError then."""
    from concurrent.futures import Future
    from threading import Thread

    future: Future[T] = Future()

    def run() -> None:
        try:
            future.set_result(work())
        except BaseException as fault:  # noqa: BLE001 - raised where it is waited for
            future.set_exception(fault)

    Thread(target=run, daemon=True).start()
    return future.result(seconds)
