"""What all tests share: the workshop's jobs, the tiers, seeds, and who must not be missing."""

import gc
import importlib
import os
import shutil
import signal
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, seed, settings

if threading.current_thread() is threading.main_thread() and (
    signal.getsignal(signal.SIGINT) is signal.SIG_IGN
):
    # Started in the background of a shell, all programs that tests start would ignore Ctrl-C.
    signal.signal(signal.SIGINT, signal.default_int_handler)

REPO = Path(__file__).parents[1]
ALL_DEMO_JOBS = sorted((REPO / "demo_jobs").glob("*.toml"))
DEMO_JOBS = [p for p in ALL_DEMO_JOBS if not p.stem.endswith("-alone")]
"""Those that make both parts; a part alone has its own tests."""
OUTSIDE = os.environ.get("BLANKCAM_OUTSIDE") == "1"
"""Whether every outside program must be there, as in CI."""


def demo_job(stem):
    """The path of a job of the invented workshop."""
    (path,) = (p for p in ALL_DEMO_JOBS if p.stem == stem)
    return path


STEEL = demo_job("concert-steel")
"""The job that most tests start from."""
EACH_DEMO_JOB = [
    pytest.param(path, id=path.stem, marks=() if path == STEEL else pytest.mark.long)
    for path in DEMO_JOBS
]
"""For tests of every job: in a first run the one job, the others in the long tier."""

CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def first_then_long(values, first=1):
    """Parameters of a test: the ``first`` ones in a first run, the others in the long tier."""
    sets = [value if isinstance(value, tuple) else (value,) for value in values]
    return [
        pytest.param(*each, marks=() if at < first else pytest.mark.long)
        for at, each in enumerate(sets)
    ]


settings.register_profile("steady", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("local", deadline=None)
settings.load_profile("steady" if os.environ.get("CI") else "local")


def by_chance(name, count):
    """A test of ``count`` random examples, or of as many as the variable ``name`` says.

    BLANKCAM_SEED seeds it, also where property tests draw the same examples each time.
    """
    most = settings(
        max_examples=int(os.environ.get(name, count)), suppress_health_check=list(HealthCheck)
    )
    number = os.environ.get("BLANKCAM_SEED")
    return lambda test: seed(int(number))(most(test)) if number else most(test)


def needed(present, what):
    """Skip for want of an outside program; fail where it must be there."""
    if not present:
        (pytest.fail if OUTSIDE else pytest.skip)(f"{what} is not installed")


def library(name):
    """Another project's library that a test asks; its tests skip where it may be missing."""
    return importlib.import_module(name) if OUTSIDE else pytest.importorskip(name)


@pytest.fixture(scope="session")
def chromium():
    """A browser without a screen, for the whole run."""
    found = next((p for n in ("chromium", "chromium-browser") if (p := shutil.which(n))), None)
    needed(found, "chromium")
    sync_api = library("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(CHROMIUM_FLAGS))
        yield browser
        browser.close()


def pytest_collection_finish():
    """What was collected stays: looking through it for what is lost takes a fifth of the time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 50)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Timings are never part of a first run."""
    for item in items:
        if item.get_closest_marker("benchmark"):
            item.add_marker(pytest.mark.long)
