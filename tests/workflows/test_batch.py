"""Runs of instruments: names, rows, outcomes, what is redone, workers that die."""

import csv
import io
import json
import os
import signal
import unicodedata
from concurrent.futures import BrokenExecutor, ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam import output_folder, workers
from blankcam.faults import BlankcamError, InputError, OutputError
from blankcam.inputs import job_table
from blankcam.inputs.job import Job
from blankcam.outputs.tables import batch_table
from blankcam.outputs.tables.batch_table import Outcome
from blankcam.parts.stage import Stage
from blankcam.workflows import batch
from tests.conftest import REPO, STEEL
from tests.installed import run as command

TEXT = STEEL.read_text()
HAND = "hand-bench"  # no programs: the quickest whole set


def inline():
    return ThreadPoolExecutor(1)


def run(source, out, *, table=None, machine=HAND, stage=Stage.ROUGH, pool=inline, **more):
    found = batch.jobs_of(str(source), table and str(table))
    return batch.batch(found, str(out), machine, stage, pool=pool, **more)


@pytest.fixture
def jobs(tmp_path):
    source = tmp_path / "jobs"
    source.mkdir()
    (source / "one.toml").write_text(TEXT)
    (source / "two.toml").write_text(TEXT.replace("concert 11", "concert 12"))
    (source / "small.toml").write_text(TEXT.replace('length = "52 mm"', 'length = "42 mm"'))
    (source / "bad.toml").write_text("x")
    (source / "notes.txt").write_text("not a job")
    return source


def statuses(outcomes):
    return {o.folder: o.status for o in outcomes}


def test_one_bad_job_never_stops_the_rest(jobs, tmp_path):
    out = tmp_path / "out"
    got = run(jobs, out)
    assert statuses(got) == {
        "bad": "unusable", "one": "made", "small": "refused", "two": "made",
    }  # fmt: skip
    assert batch.exit_code(got) == 2
    assert batch.exit_code(got[1:]) == 1
    assert batch.exit_code([o for o in got if o.status == "made"]) == 0
    assert {p.name for p in out.iterdir() if p.is_dir()} == {"one", "two"}
    record = json.loads((out / "summary.json").read_text())
    assert [j["folder"] for j in record["jobs"]] == ["bad", "one", "small", "two"]
    table = list(csv.DictReader(io.StringIO((out / "summary.csv").read_text())))
    assert [row["status"] for row in table] == ["unusable", "made", "refused", "made"]
    assert "42 mm" in table[2]["faults"]


def test_only_what_changed_is_redone(jobs, tmp_path):
    out = tmp_path / "out"
    run(jobs, out)
    before = (out / "one").stat().st_ino
    assert statuses(run(jobs, out))["one"] == "kept"
    assert (out / "one").stat().st_ino == before
    # another order of keys and another comment are no change; a value is
    (jobs / "one.toml").write_text("# looked at again\n" + TEXT)
    (jobs / "two.toml").write_text(TEXT.replace('"6.05 mm"', '"6.06 mm"'))
    again = statuses(run(jobs, out))
    assert (again["one"], again["two"]) == ("kept", "made")
    # nor does a file that was changed by hand count as made; it is the maker's own now
    (out / "one" / "report.json").write_text("{}")
    again = run(jobs, out)
    assert statuses(again)["one"] == "unusable"
    assert "--force" in again[1].faults[0]
    assert statuses(run(jobs, out, force=True))["one"] == "made"


@pytest.mark.long
def test_another_stage_is_a_change(jobs, tmp_path):
    run(jobs, tmp_path / "out")
    assert statuses(run(jobs, tmp_path / "out", stage=Stage.FINAL))["one"] == "made"


@pytest.mark.long
def test_a_changed_profile_is_a_change(jobs, tmp_path):
    profile = tmp_path / "own.toml"
    profile.write_text((REPO / "machines" / "hand-bench.toml").read_text())
    out = tmp_path / "out"
    run(jobs, out, machine=str(profile))
    assert statuses(run(jobs, out, machine=str(profile)))["one"] == "kept"
    text = profile.read_text()
    assert 'name = "' in text
    profile.write_text(text.replace('name = "', 'name = "my ', 1))
    assert statuses(run(jobs, out, machine=str(profile)))["one"] == "made"


@pytest.mark.long
def test_another_version_is_a_change(jobs, tmp_path, monkeypatch):
    run(jobs, tmp_path / "out")
    monkeypatch.setattr(batch, "__version__", "0.0.0")
    outcome = run(jobs, tmp_path / "out")[1]
    assert outcome.status == "unusable"  # handed out by a new main process to an old worker
    assert "version" in outcome.faults[0]


def test_the_makers_own_summary_is_not_lost(jobs, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "summary.csv").write_text("mine")
    with pytest.raises(OutputError, match=r"summary\.csv"):
        run(jobs, out)
    assert [p.name for p in out.iterdir()] == ["summary.csv"]


def test_a_folder_without_jobs_is_told(tmp_path):
    with pytest.raises(InputError, match="no job files"):
        batch.jobs_of(str(tmp_path), None)
    with pytest.raises(InputError, match="not a folder"):
        batch.jobs_of(str(STEEL), None)


# --- workers ---


def test_a_worker_that_dies_costs_its_own_job_only(jobs, tmp_path, monkeypatch):
    monkeypatch.setattr(batch, "work", quick)
    for i in range(8):
        (jobs / f"more{i}.toml").write_text(TEXT)
    made = run(jobs, tmp_path / "out", pool=lambda: Dying("more3"), at_once=4)
    got = statuses(made)
    assert got.pop("more3") == "unusable"
    assert got.pop("bad") == "unusable"
    assert set(got.values()) == {"made"}
    assert "worker" in next(o for o in made if o.folder == "more3").faults[0]


class Dying(ThreadPoolExecutor):
    """A pool that breaks under one job, with all that is under way."""

    def __init__(self, deadly):
        super().__init__(1)
        self.deadly, self.broken = deadly, False

    def submit(self, work, task):
        if self.broken:
            raise BrokenExecutor("broken")
        return super().submit(self.work, work, task)

    def work(self, work, task):
        self.broken = self.broken or task.name == self.deadly
        if self.broken:
            raise BrokenExecutor("a worker died")
        return work(task)


def quick(task):
    return batch.Result(
        files={"report.json": b"{}"},
        outcome=Outcome(folder=task.name, job="", source="", status="made"),
    )


def kill_once(task):
    """Run in a worker: the first to come to a job dies with it, the next makes it."""
    mark = task.job.path + ".died"
    if task.name == "two" and not os.path.exists(mark):  # noqa: PTH110
        open(mark, "w").close()  # noqa: PTH123
        os.kill(os.getpid(), signal.SIGKILL)
    return quick(task)


@pytest.mark.long
def test_a_killed_process_is_replaced(jobs, tmp_path, monkeypatch):
    monkeypatch.setattr(batch, "work", kill_once)
    got = statuses(run(jobs, tmp_path / "out", pool=workers.local_pool(2)))
    assert (got["one"], got["two"]) == ("made", "made")
    assert (jobs / "two.toml.died").exists()


def test_our_own_mistakes_stay_with_their_job(jobs, tmp_path, monkeypatch):
    from blankcam.workflows import make as runs

    def wrong(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr(runs, "build", wrong)
    got = run(jobs, tmp_path / "out")
    assert "ZeroDivisionError" in got[1].faults[0]
    assert statuses(got)["two"] == "unusable"


def test_stopped_leaves_whole_folders_only(jobs, tmp_path):
    out = tmp_path / "out"
    count = 0

    def told(outcome):
        nonlocal count
        count += outcome.status == "made"
        if count:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(jobs, out, told=told)
    (only,) = out.iterdir()
    listed = json.loads((only / output_folder.LIST_NAME).read_text())
    assert set(listed["files"]) | {output_folder.LIST_NAME} == {p.name for p in only.iterdir()}
    assert statuses(run(jobs, out))[only.name] == "kept"


# --- names ---


@pytest.mark.property
@given(st.lists(st.text(max_size=200), max_size=8))
def test_names_of_sub_folders_are_safe_and_each_its_own(names):
    safe = batch.safe_names(names)
    assert len({s.casefold() for s in safe}) == len(names)
    for name in safe:
        assert name
        assert len(name.encode()) <= batch.LONGEST_NAME + 4
        assert not name.startswith(".")
        assert name == name.strip(". ")
        assert not set(name) & set('/\\:*?"<>|\0')
        assert all(unicodedata.category(c)[0] in "LMNPZ" for c in name)
        assert "summary.csv" != name.casefold() != "summary.json"


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("../../etc/passwd", "_.._etc_passwd"),
        ("..", "job"),
        ("con", "con_"),
        ("a\u202eb", "a_b"),
        ("x" * 10_000, "x" * 80),
        ("summary.csv", "summary.csv-2"),
        ("Säge 3", "Säge 3"),
        ("\udcff", "_"),
    ],
)
def test_hostile_names(name, safe):
    assert batch.safe_names([name]) == [safe]


def test_a_formula_cannot_hide_in_the_summary():
    bad = Outcome(folder="a", job='=HYPERLINK("x")', source="@x", status="made")
    table = list(csv.DictReader(io.StringIO(batch_table.as_csv([bad]).decode())))
    assert table[0]["job"].startswith("'=")
    assert table[0]["source"].startswith("'@")


# --- rows ---


def table(tmp_path, text):
    path = tmp_path / "run.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_rows_override_the_base_job(tmp_path):
    path = table(
        tmp_path,
        "instrument.name,nut.seat_width,strings[6].gauge,nut.first_fret.bass,saddle.action\n"
        "No 1,6.06 mm,0.054 in,0.5 mm,\n"
        'No 2,,,,"{ bass = ""2.5 mm"", treble = ""2 mm"" }"\n'
        "No 3,6.06,,,\n"
        "No 4,6.06 mm\n",
    )
    got = dict(job_table.jobs(str(STEEL), str(path)))
    one, two = got["No 1"], got["No 2"]
    assert one.nut.seat_width == pytest.approx(6.06)
    assert one.strings[0].gauge == pytest.approx(0.054 * 25.4)
    assert one.nut.first_fret.bass == pytest.approx(0.5)
    assert one.nut.first_fret.treble == pytest.approx(0.4)  # the base job's
    assert two.saddle.action.bass == pytest.approx(2.5)
    assert two.nut.seat_width == pytest.approx(6.05)
    assert "unit" in str(got["No 3"])
    assert "run.csv:4: nut.seat_width" in str(got["No 3"])
    assert "2 cells for 5 columns" in str(got["row 5"])


def test_a_row_is_the_job_written_out(tmp_path):
    """A row gives the very job that the same values in a job file give."""
    written = tmp_path / "one.toml"
    written.write_text(TEXT.replace('"6.05 mm"', '"6.07 mm"').replace("concert 11", "concert 12"))
    path = table(tmp_path, "instrument.name;nut.seat_width\nQuillmere concert 12;6.07 mm\n")
    ((_, row),) = job_table.jobs(str(STEEL), str(path))
    assert row.digest == batch.job_file.load(str(written)).digest


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no rows"),
        ("nut.seat_width\n", "no rows"),
        ("nut.seat_with\n6 mm\n", "not a key path"),
        ("nut\n6 mm\n", "not a key path"),
        ("nut.tilt,nut.tilt\n7 deg,7 deg\n", "two columns"),
        ('nut.tilt\n"7 deg\n', "not a table"),
        ("strings[6]\n6 mm\n", "not a key path"),
        ("__class__.x\n6\n", "not a key path"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path, text, words):
    with pytest.raises(InputError, match=words):
        job_table.jobs(str(STEEL), str(table(tmp_path, text)))


def test_a_place_the_base_job_lacks(tmp_path):
    path = table(tmp_path, "strings[9].gauge\n0.01 in\n")
    ((_, failed),) = job_table.jobs(str(STEEL), str(path))
    assert "no place in the base job" in str(failed)


@pytest.mark.property
@given(st.text(max_size=300))
def test_any_table_is_jobs_or_a_fault(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("t") / "run.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    found, told = [], ()
    try:
        found = job_table.jobs(str(STEEL), str(path))
    except InputError as refused:
        told = refused.faults
    assert found or told
    assert all(isinstance(job, Job | BlankcamError) for _, job in found)
    assert all(f.wrong and str(f).isprintable() for f in told)


@pytest.mark.long
def test_a_cell_of_5000_digits_loses_its_own_row_only(tmp_path):
    digits = "9" * 5000
    path = table(tmp_path, f"instrument.name,nut.tilt\nA,7 deg\nB,{digits}\nC,7 deg\n")
    got = run(STEEL, tmp_path / "out", table=path)
    assert statuses(got) == {"A": "made", "B": "unusable", "C": "made"}
    assert "run.csv:3: nut.tilt" in got[1].faults[0]
    assert len(got[1].faults[0]) < 400


def test_the_first_of_10_000_rows_does_not_wait_for_the_last(tmp_path, monkeypatch):
    """Counted, not timed: how many rows were read when the first job is handed out."""
    made = []
    job = job_table._job
    monkeypatch.setattr(job_table, "_job", lambda *args: made.append(args[-1]) or job(*args))
    rows = "".join("Same name,6.05 mm\n" for _ in range(10_000))
    found = batch.jobs_of(
        str(STEEL), str(table(tmp_path, f"instrument.name,nut.seat_width\n{rows}"))
    )
    assert len(found) == len({n.casefold() for n in found.names}) == 10_000
    assert not made
    tasks = batch._tasks(found, str(tmp_path / "out"), HAND, Stage.ROUGH, lambda _: None)
    assert next(tasks).name == "Same name"
    assert len(made) <= 2


@pytest.mark.long
def test_two_batches_into_one_folder_the_second_says_so(jobs, tmp_path):
    with output_folder.hold(str(tmp_path / "out")):
        done = command("batch", jobs, "--out", tmp_path / "out", "--machine", HAND)
    assert done.returncode == 2
    assert "another run of blankcam is writing there" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not any((tmp_path / "out").iterdir())


def test_rows_are_made_each_in_its_own_folder(tmp_path):
    path = table(tmp_path, "instrument.name,nut.seat_width\nA,\nA,6.06 mm\n../b,6.06\n")
    got = statuses(run(STEEL, tmp_path / "out", table=path))
    assert got == {"A": "made", "A-2": "made", "_b": "unusable"}
