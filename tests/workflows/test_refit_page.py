"""A refit's page tells of each slot what its record tells."""

import base64
import json
import re
import zlib

import pytest

from tests.workflows.test_refit import ROUGH, cut, job, readings

__all__ = ["job"]


def data_of(folder):
    text = (folder / "preview.html").read_text(encoding="utf-8")
    packed = json.loads(re.search(r'id="data">(.*?)</script>', text, re.DOTALL)[1])
    data = json.loads(zlib.decompress(base64.b64decode(packed)))
    return text, data, data["sections"]


@pytest.mark.long
def test_every_slot_shows_the_floor_now_and_the_floor_asked(job):
    record, programs = cut(job, readings(job, "r.toml", *ROUGH), "out", "bench-mill")
    text, data, sections = data_of(job.parent / "out")
    assert "nut-refit.ngc" in programs
    assert "Take off" in text
    assert [p["refit"] for p in data["parts"]] == [True, True]
    for slot in record["nut"]:
        across = sections[str(slot["string"])]["wide"]["across"]["refit"]
        said = [words[-1] for words in across[4]]
        assert f"{slot['floor_before']:.2f} floor now" in said
        assert f"{slot['floor_after']:.2f} refit floor" in said
        along = sections[str(slot["string"])]["wide"]["along"]["refit"]
        off = slot["floor_before"] - slot["floor_after"]
        told = " ".join(words[-1] for words in along[4])
        take = float(re.search(r"take ([\d.]+) off the floor", told)[1])
        assert take == pytest.approx(off, abs=0.0052)  # both are rounded
    stages = {s["stage"] for s in data["parts"][0]["stages"]}
    assert stages == {"rough", "final", "refit", "asked"}
