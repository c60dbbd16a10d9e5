"""What is sent out: wheel and source archive build, hold all that is needed, and work elsewhere."""

import importlib.util
import json
import os
import pkgutil
import subprocess
import sys
import tarfile
import venv
import zipfile

import pytest

import blankcam
from tests.conftest import REPO, needed

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def sent(tmp_path_factory):
    """Both archives, built from a clean copy of what the repository holds, with no network."""
    for name in ("build", "hatchling"):
        needed(importlib.util.find_spec(name) is not None, name)
    out = tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", out, REPO],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return out


def test_the_wheel_holds_tables_profiles_and_types(sent):
    (wheel,) = sent.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder, inside in (("machines", "blankcam/machines"), ("blankcam/data", "blankcam/data")):
        for path in (REPO / folder).glob("*.*"):
            if path.suffix in {".toml", ".json", ".py"}:
                assert f"{inside}/{path.name}" in names
    assert "blankcam/py.typed" in names
    for room in ("preview", "docs"):
        files = [p for p in (REPO / "blankcam" / room).rglob("*.*") if "__pycache__" not in p.parts]
        assert len(files) > 10
        assert all(p.relative_to(REPO).as_posix() in names for p in files)
    assert not [n for n in names if n.startswith(("tests", "demo_jobs")) or "__pycache__" in n]


def test_the_source_archive_holds_what_a_maintainer_needs(sent):
    (archive,) = sent.glob("*.tar.gz")
    with tarfile.open(archive) as opened:
        names = {n.split("/", 1)[1] for n in opened.getnames() if "/" in n}
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", "blankcam/py.typed",
                 "machines/bench-mill.toml", "demo_jobs/concert-steel.toml", "tests/conftest.py",
                 "blankcam/data/typical.toml", ".ci/run", ".pictures/nut.png"):  # fmt: skip
        assert name in names, name
    assert not [n for n in names if "__pycache__" in n or n.startswith((".venv", ".git/", "out/"))]


def test_the_wheel_works_in_a_new_environment_away_from_the_checkout(sent, tmp_path):
    home = tmp_path / "env"
    venv.create(home, with_pip=False, system_site_packages=False)
    python = home / "bin" / "python"
    (wheel,) = sent.glob("*.whl")
    site = next((home / "lib").glob("python*/site-packages"))
    # what it depends on is taken from here: no network in a test
    (site / "others.pth").write_text("\n".join(p for p in sys.path if p.endswith("site-packages")))
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps", "--no-index",
         "--ignore-installed", wheel],
        check=True, timeout=120,
    )  # fmt: skip
    clean = {
        k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "COVERAGE", "COV_"))
    }

    def said(*args):
        done = subprocess.run(
            [home / "bin" / "blankcam", *args], cwd=tmp_path, env=clean, capture_output=True, text=True,
            timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    where = subprocess.run([python, "-c", "import blankcam; print(blankcam.__file__)"], cwd=tmp_path,
                           env=clean, capture_output=True, text=True, check=True)  # fmt: skip
    assert where.stdout.startswith(str(site))
    assert said("--version") == f"blankcam {blankcam.__version__}\n"
    listed = said("machines")
    assert all(p.stem in listed for p in (REPO / "machines").glob("*.toml"))
    said("start", "mine.toml", "--like", "mandolin")
    assert len(json.loads(said("layout", "mine.toml", "--json"))["strings"]) == 8


def test_the_version_is_one_and_public_names_are_few():
    import tomllib

    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == blankcam.__version__
    public = {n for n in vars(blankcam) if not n.startswith("_")}
    modules = {m.name for m in pkgutil.iter_modules(blankcam.__path__)}
    assert public <= modules
    assert blankcam.__all__ == ["__version__"]
    assert "__version__" in (REPO / "DEVELOPERS.md").read_text(encoding="utf-8")
