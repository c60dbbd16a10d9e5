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


def length(said, words):
    """The length in braces before some words, mm: the page writes it in the unit chosen."""
    return float(re.search(rf"\{{([\d.]+)(?:;\d)?\}} {words}", said)[1])


@pytest.mark.long
def test_every_slot_shows_the_floor_now_and_the_floor_asked(job):
    record, programs = cut(job, readings(job, "r.toml", *ROUGH), "out", "bench-mill")
    text, data, sections = data_of(job.parent / "out")
    assert "nut-refit.ngc" in programs
    assert "Take off" in text
    assert [p["refit"] for p in data["parts"]] == [True, True]
    for slot in record["nut"]:
        across = sections[str(slot["string"])]["wide"]["across"]["refit"]
        said = " ".join(words[-1] for words in across[4])
        assert length(said, "floor now") == pytest.approx(slot["floor_before"], abs=0.0052)
        assert length(said, "refit floor") == pytest.approx(slot["floor_after"], abs=0.0052)
        along = sections[str(slot["string"])]["wide"]["along"]["refit"]
        off = slot["floor_before"] - slot["floor_after"]
        told = " ".join(words[-1] for words in along[4])
        take = length(told.replace("take ", ""), "off the floor")
        assert take == pytest.approx(off, abs=0.0052)  # both are rounded
    stages = {s["stage"] for s in data["parts"][0]["stages"]}
    assert stages == {"rough", "final", "refit", "asked"}
