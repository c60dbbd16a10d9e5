"""What all tests share."""

import os
from pathlib import Path

from hypothesis import settings

REPO = Path(__file__).parents[1]
DEMO_JOBS = sorted((REPO / "demo_jobs").glob("*.toml"))


def demo_job(stem):
    """The path of a job of the invented workshop."""
    (path,) = (p for p in DEMO_JOBS if p.stem == stem)
    return path


STEEL = demo_job("concert-steel")
"""The job that most tests start from."""

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("local", deadline=None)
settings.load_profile("steady" if os.environ.get("CI") else "local")
