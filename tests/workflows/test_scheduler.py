"""A run handed to an existing cluster: a real scheduler and two real workers on this computer."""

import os
import re
import signal
import socket
import subprocess
import sys
import time

import pytest

from blankcam import workers
from blankcam.parts.stage import Stage
from blankcam.workflows import batch
from tests.conftest import REPO, library
from tests.installed import run
from tests.workflows.test_batch import HAND, TEXT, quick, statuses

pytestmark = [pytest.mark.oracle, pytest.mark.long]
START = "import sys; from dask.__main__ import main; sys.argv[0] = 'dask'; main()"


@pytest.fixture
def cluster(tmp_path, request):
    """A scheduler's address and its two workers' processes; each worker ends with its test."""
    library("distributed")
    begun = []
    try:
        begun.append(
            _begin(tmp_path, "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        )
        address = _said(begun[0], re.compile(r"(tcp://127\.0\.0\.1:\d+)"))
        for i in range(getattr(request, "param", 2)):
            worker = "worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"
            begun.append(_begin(tmp_path, *worker, "--local-directory", str(tmp_path), name=i))
        for worker in begun[1:]:
            _said(worker, re.compile(r"(Registered to)"))
        yield address, [process for process, _ in begun[1:]]
    finally:
        for process, _ in reversed(begun):
            process.kill()
            process.wait()


def _begin(folder, *words, name="scheduler"):
    log = folder / f"{name}.log"
    with log.open("wb") as heard:
        process = subprocess.Popen([sys.executable, "-c", START, *words], stderr=heard)
    return process, log


def _said(begun, pattern):
    """What a process says on its way up; it fails loudly where it does not come up."""
    process, log = begun
    for _ in range(600):
        if found := pattern.search(log.read_text()):
            return found[1]
        assert process.poll() is None, log.read_text()
        time.sleep(0.05)
    raise AssertionError(log.read_text())


def kill_worker_once(task):
    """Run in a worker: the first to come to this job dies in the middle of it."""
    mark = task.job.path + ".died"
    if task.name == "job3" and not os.path.exists(mark):  # noqa: PTH110
        open(mark, "w").close()  # noqa: PTH123
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(task)


def test_a_worker_killed_in_the_middle_costs_nothing(cluster, tmp_path, monkeypatch):
    address, processes = cluster
    source, out = tmp_path / "jobs", tmp_path / "out"
    source.mkdir()
    for i in range(6):
        (source / f"job{i}.toml").write_text(TEXT)
    monkeypatch.setattr(batch, "work", kill_worker_once)
    found = batch.jobs_of(str(source), None)
    with workers.cluster_pool(address) as (count, pool):
        assert count == 2
        got = batch.batch(found, str(out), HAND, Stage.ROUGH, pool=pool, at_once=count + 2)
    assert statuses(got) == {f"job{i}": "made" for i in range(6)}
    assert (source / "job3.toml.died").exists()
    assert sum(w.poll() is not None for w in processes) == 1
    assert {p.name for p in out.iterdir() if p.is_dir()} == {f"job{i}" for i in range(6)}


def test_the_command_hands_its_jobs_to_the_cluster(cluster, tmp_path):
    address, _ = cluster
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "one.toml").write_text(TEXT)
    done = run("batch", tmp_path / "jobs", "--out", tmp_path / "out", "--machine", HAND,
                    "--scheduler", address)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "one" / "sheet.pdf").read_bytes()[:5] == b"%PDF-"


def test_nobody_at_the_address(tmp_path):
    done = run("batch", REPO / "demo_jobs", "--out", tmp_path, "--scheduler", "tcp://127.0.0.1:9")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "nobody answers" in done.stderr


def test_a_listener_that_never_answers_is_told_in_bounded_time(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        done = run("batch", REPO / "demo_jobs", "--out", tmp_path, "--scheduler", address)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "nobody answers" in done.stderr


@pytest.mark.long
def test_a_cluster_without_workers_is_told_in_bounded_time(cluster, tmp_path):
    address, processes = cluster
    for process in processes:
        process.kill()
        process.wait()
    done = run("batch", REPO / "demo_jobs", "--out", tmp_path, "--scheduler", address)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "no worker is left, and none came within 30 s" in done.stderr


def always_dies(task):
    """Run in a worker: one job kills every worker that begins it, and notes that it did."""
    if task.name == "job3":
        with open(task.job.path + ".died", "a") as noted:  # noqa: PTH123
            noted.write("x")
        time.sleep(0.3)
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(task)


@pytest.mark.parametrize("cluster", [4], indirect=True)
def test_a_job_that_kills_its_worker_is_tried_twice_then_told(cluster, tmp_path, monkeypatch):
    address, processes = cluster
    source, out = tmp_path / "jobs", tmp_path / "out"
    source.mkdir()
    for i in range(6):
        (source / f"job{i}.toml").write_text(TEXT)
    monkeypatch.setattr(batch, "work", always_dies)
    found = batch.jobs_of(str(source), None)
    with workers.cluster_pool(address) as (count, pool):
        got = batch.batch(found, str(out), HAND, Stage.ROUGH, pool=pool, at_once=count + 2)
    made = statuses(got)
    assert made.pop("job3") == "unusable"
    assert "worker was lost" in got[3].faults[0]
    assert set(made.values()) == {"made"}
    assert (source / "job3.toml.died").read_text() == "xx"
    assert sum(p.poll() is not None for p in processes) == 2
