"""Any sane job is either refused in words or makes programs that pass the proof."""

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from blankcam.faults import InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workers import Worker
from blankcam.workflows.cut_part import cut_parts
from blankcam.workflows.request import machine_of
from tests.conftest import by_chance

SETS = {
    "steel-string": ("wound steel", ("E2", "A2", "D3", "G3", "B3", "E4", "G4"), (0.053, 0.010)),
    "classical": ("nylon", ("E2", "A2", "D3", "G3", "B3", "E4", "A4"), (0.043, 0.028)),
    "bass": ("wound steel", ("E1", "A1", "D2", "G2", "C3", "F3", "A3"), (0.105, 0.030)),
}


@st.composite
def jobs(draw):
    kind = draw(st.sampled_from(sorted(SETS)))
    make, notes, (thick, thin) = SETS[kind]
    count = draw(st.integers(3, 7))
    step = (thick - thin) / (count - 1)
    number = lambda low, high: f"{draw(st.floats(low, high)):.3f}"  # noqa: E731
    strings = "".join(
        f'[[strings]]\nnumber = {count - i}\nnote = "{notes[i]}"\ngauge = "{thick - i * step:.4f} in"\nmake = "{make}"\n'
        for i in range(count)
    )
    width = draw(st.floats(7.2 * count, 9.0 * count))
    radius = draw(st.sampled_from(['"flat"', '"10 in"', '"16 in"', '"500 mm"', '"20 ft"']))
    seat, slot = number(4.5, 6.5), number(2.6, 3.4)
    front = {"steel-string": 646.5, "classical": 651.2, "bass": 866.5}[kind]
    slant = draw(st.floats(-0.5, 3.0)) / 2
    crown = draw(st.sampled_from(["", 'crown_radius = "3.6 mm"', 'crown_radius = "4.4 mm"']))
    thick = draw(st.sampled_from([0.0, 0.02, 0.3, 1.4]))  # to be rubbed off, or milled
    return f"""
[instrument]
name = "random"
kind = "{kind}"
handed = "{draw(st.sampled_from(["left", "right"]))}"
[board]
width_at_nut = "{width:.2f} mm"
radius = {radius}
relief = "{number(0, 0.25)} mm"
{strings}
[nut]
seat_width = "{seat} mm"
seat_drop = "{number(5.0, 6.0)} mm"
tilt = "{number(2, 10)} deg"
spacing = "{draw(st.sampled_from(["equal gaps", "equal centres"]))}"
margin_to = "{draw(st.sampled_from(["centre", "edge"]))}"
margin_bass = "{number(3.2, 4.5)} mm"
margin_treble = "{number(3.0, 4.5)} mm"
first_fret = {{ bass = "{number(0.5, 0.8)} mm", treble = "{number(0.35, 0.5)} mm" }}
exposure = {number(0.2, 0.5)}
[saddle]
slot_width = "{slot} mm"
slot_length = "{width + 24:.1f} mm"
string_span = "{width + 6:.1f} mm"
slot_ends = "{draw(st.sampled_from(["round", "square"]))}"
top = "{draw(st.sampled_from(["board radius", "per string"]))}"
{crown}
front_at = {{ bass = "{front + slant:.3f} mm", treble = "{front - slant:.3f} mm" }}
[blanks]
material = "{draw(st.sampled_from(["bone", "phenolic laminate", "hardwood"]))}"
nut = {{ length = "{width + 6:.1f} mm", height = "10 mm", thickness = "{float(seat) + thick:.3f} mm" }}
saddle = {{ length = "{width + 30:.1f} mm", height = "13 mm", thickness = "{float(slot) + thick:.3f} mm" }}
[plan]
outline = "{draw(st.sampled_from(["saw", "mill"]))}"
thickness = "{draw(st.sampled_from(["hand", "mill"]))}"
ends = "mill"
"""


@pytest.mark.property
@pytest.mark.long
@by_chance("BLANKCAM_RANDOM_JOBS", 5)
@given(jobs(), st.sampled_from(["bench-mill", "light-router"]), st.sampled_from(list(Stage)))
def test_a_sane_job_is_refused_in_words_or_passes_the_proof(text, machine, stage):
    refused = None
    try:
        job = job_file.parse(text, "random.toml")
        found = design(job)
        made = cut_parts(found, machine_of(job, machine), stage, Worker())
    except (RefusedError, InputError) as fault:
        refused = fault
    if refused is not None:
        event("refused: " + "; ".join(f"{f.key} {f.wrong}" for f in refused.faults)[:150])
        assert all(f.wrong and f.key for f in refused.faults)
        return
    event("made")
    for part in made:
        assert part.proof.passed, [str(f) for f in part.proof.faults[:3]]
