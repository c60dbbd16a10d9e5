"""How long a maker waits: whole commands, beside bare Python in the same run.

Wanted: help 0.15 s, layout 0.3 s, a six-string job made whole 1.5 s. Told, not judged. Where
PYTHONDONTWRITEBYTECODE is set an editable install is compiled anew each time: 0.1 s more.
"""

import resource
import subprocess
import sys
import time

import pytest

from tests.conftest import STEEL
from tests.installed import COMMAND


def bare_python():
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", "pass"], check=True)
    return time.perf_counter() - begun


@pytest.mark.benchmark
@pytest.mark.parametrize(
    "words", ["--help", "layout JOB", "gcode JOB --out OUT", "make JOB --out OUT"]
)
def test_command(words, benchmark, tmp_path):
    args = [w.replace("JOB", str(STEEL)).replace("OUT", str(tmp_path / "o")) for w in words.split()]

    def whole():
        return subprocess.run([COMMAND, *args], check=True, capture_output=True)

    done = benchmark.pedantic(whole, rounds=3)
    assert done.stdout
    if benchmark.stats:
        least = benchmark.stats.stats.min
        benchmark.extra_info["times bare python"] = round(least / bare_python(), 1)
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        benchmark.extra_info["greatest child so far, MB"] = round(peak)
