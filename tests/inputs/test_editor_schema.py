"""The schemas for editors: shipped as generated, and of one mind with the readers.

jsonschema is the outside judge (JSON Schema draft 2020-12).
"""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from blankcam.faults import InputError
from blankcam.inputs import coupon_file, editor_schema, job_file, readings_file
from blankcam.inputs.machine_file import parse_profile
from tests.conftest import DEMO_JOBS, REPO
from tests.inputs.test_machine_file import GOOD as PROFILE
from tests.inputs.test_readings_file import GOOD as READINGS

SCHEMAS = {name: json.loads(text) for name, text in editor_schema.schemas().items()}

MACHINES = sorted((REPO / "machines").glob("*.toml"))
COUPON = 'measured = "2026-03-21"\n[lands]\nA = "3.01 mm"\n'
KNOWN = "name = 'x'\nkind = 'bass'\n"


def check(text, name):
    jsonschema.validate(tomllib.loads(text), SCHEMAS[name])


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_each_schema_is_shipped_as_generated(name):
    shipped = REPO / "blankcam" / "data" / name
    assert shipped.read_text(encoding="utf-8") == editor_schema.schemas()[name]
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])
    assert "$ref" not in shipped.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("path", "name"),
    [(p, "job.schema.json") for p in DEMO_JOBS] + [(p, "machine.schema.json") for p in MACHINES],
    ids=lambda v: v.stem if isinstance(v, Path) else "",
)
def test_demo_files_pass(path, name):
    check(path.read_text(encoding="utf-8"), name)


def test_readings_pass():
    check(READINGS, "readings.schema.json")


def test_a_measured_machine_passes():
    demo = REPO / "demo_jobs" / "measured-router"
    check((demo / "coupon.toml").read_text(encoding="utf-8"), "coupon.schema.json")
    profile = (demo / "light-router-measured.toml").read_text(encoding="utf-8")
    check(profile, "machine.schema.json")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("job.schema.json", "[instrument]\nname = 'x'\nkind = 'lute'"),
        ("job.schema.json", f"[instrument]\n{KNOWN}scael = '1 m'"),
        ("job.schema.json", f"[instrument]\n{KNOWN}scale = 650"),
        ("job.schema.json", f"[instrument]\n{KNOWN}[nut]\nexposure = 'half'"),
        ("job.schema.json", f"[instrument]\n{KNOWN}[board]\nbody_fret = 3"),
        ("job.schema.json", "[nut]"),
        ("machine.schema.json", PROFILE.replace("mill", "lathe")),
        ("machine.schema.json", PROFILE.replace("flute_length", "flute_lenght")),
        ("machine.schema.json", PROFILE.replace('"1 mm"', "1")),
        ("machine.schema.json", PROFILE.replace("spindle_max", "spindle_min")),
        ("machine.schema.json", 'kind = "laser"'),
        ("machine.schema.json", PROFILE.replace("number = 1", "number = 300")),
        ("readings.schema.json", READINGS.replace("action", "acton")),
        ("readings.schema.json", READINGS.replace('"0.12 mm"', "0.12")),
        ("readings.schema.json", READINGS.replace("relief", "stage")),
        ("machine.schema.json", PROFILE.replace("kind", 'measured = "today"\nkind')),
        ("machine.schema.json", PROFILE.replace("kind", "backlash = 0.02\nkind")),
        ("coupon.schema.json", COUPON.replace("lands", "lans")),
        ("coupon.schema.json", COUPON.replace('"3.01 mm"', "3.01")),
        ("coupon.schema.json", COUPON.replace("measured", "day")),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(name, text):
    readers = {
        "job.schema.json": lambda t: job_file.parse(t, "x.toml"),
        "machine.schema.json": lambda t: parse_profile(t, "x.toml"),
        "readings.schema.json": lambda t: readings_file.parse(t, "x.toml", 3),
        "coupon.schema.json": lambda t: coupon_file.parse_measured(t, "x.toml"),
    }
    with pytest.raises(InputError):
        readers[name](text)
    with pytest.raises(jsonschema.ValidationError):
        check(text, name)
