"""What a program states for the operator, read from its comments in whatever form they come.

The form of comments is RS274/NGC's (NISTIR 6556, 3.3.4: parentheses, none nested; a semicolon's
runs to the end of its line, as the controller's own manual has it).
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.replay.codes import Code
from blankcam.statements import differences, read_statements
from blankcam.workflows.stated import CODES, moved_looks, other_file_name, stated_differences
from tests.replay.bench import MILL

HEAD = """(SAFETY)
(makes nut, on edge)
(file nut-edge.ngc)
(job Quillmere 2)
(machine bench mill)
(stock x 0.00 to 44.45, y 0.00 to 6.04)
(zero X0 the left end that the outline has cut, Y0 its fingerboard)
(side, Z0 its seat side)
(hold vice, jaws up to 4 mm over the seat side)
(tool 2 ball 3 mm, 2 flutes)
(tool 9 ball 2 mm, 2 flutes)
(time about 8.7 min)
(moves digest 0123)
(job digest 0123456789abcdef)
G21
T2 M6
G0 Z10
M5
(change to tool 9)
(and set Z again)
M0
M30
"""
STATED = {
    "makes": "nut, on edge",
    "job": "Quillmere 2",
    "machine": "bench mill",
    "stock": "x 0.00 to 44.45, y 0.00 to 6.04",
    "zero": "X0 the left end that the outline has cut, Y0 its fingerboard side, Z0 its seat side",
    "hold": "vice, jaws up to 4 mm over the seat side",
    "tool 2": "2 ball 3 mm, 2 flutes",
    "tool 9": "9 ball 2 mm, 2 flutes",
    "stop 1": "change to tool 9 and set Z again",
}


def test_each_statement_has_its_name_and_its_whole_text():
    assert read_statements(HEAD) == STATED


@pytest.mark.parametrize(
    "other",
    [
        HEAD.replace("\n", "\r\n"),
        "\ufeff" + HEAD,
        HEAD.replace("(", "( ").replace(")", "  )"),
        HEAD.replace("(stock", "(STOCK"),
        HEAD.replace("(zero X0", "(zero: X0"),
        HEAD.replace("(machine bench mill)", "; machine bench mill"),
        HEAD.replace("(and set Z again)\nM0", "M0 (and set Z again)"),
        "%\n" + HEAD,
    ],
    ids=["line ends", "mark", "blanks", "capitals", "colon", "semicolon", "beside M0", "percent"],
)
def test_what_reads_the_same_says_the_same(other):
    assert not list(differences(read_statements(other), STATED, tuple(CODES)))


@pytest.mark.property
@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_changed_digit_is_a_difference_of_its_statement_alone(data):
    """Of the statements that the operator acts on; time and digest are no such."""
    signed = HEAD[HEAD.index("(machine") : HEAD.index("(time")]
    at = data.draw(st.sampled_from([i for i, c in enumerate(signed) if c.isdigit()]))
    digit = data.draw(st.sampled_from(sorted(set("0123456789") - {signed[at]})))
    line = signed[signed.rindex("(", 0, at) + 1 : at]
    changed = HEAD.replace(signed, signed[:at] + digit + signed[at + 1 :])
    found = [name for name, _, _ in differences(read_statements(changed), STATED, tuple(CODES))]
    # a changed tool number: one tool missing, and another too many or in the place of its own
    assert len(found) in ((1, 2) if line == "tool " else (1,))
    words = line.split()[0]
    assert all(name.split()[0] in (words, "zero") for name in found)


def test_time_digests_and_the_notice_are_nobodys_orders():
    other = HEAD.replace("8.7", "9.9").replace("0123", "4567").replace("SAFETY", "NO RISK")
    assert read_statements(other) == STATED


@pytest.mark.parametrize("before", ["(time", "(zero", "(makes", "(SAFETY"])
def test_of_two_statements_of_one_name_that_differ_both_count(before):
    """As where the heads of two files are merged: nobody knows which one is followed."""
    wrong = HEAD.replace(before, f"(zero X0 elsewhere)\n{before}", 1)
    assert [n for n, *_ in differences(read_statements(wrong), STATED, tuple(CODES))] == ["zero"]


def test_a_statement_twice_is_one():
    line = "(hold vice, jaws up to 4 mm over the seat side)\n"
    assert read_statements(HEAD.replace(line, 2 * line)) == STATED


def test_a_comment_after_the_first_code_is_no_header():
    later = HEAD.replace("G21\n", "G21\n(zero X0 elsewhere)\n")
    assert read_statements(later) == STATED


@pytest.mark.property
@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="(): ;%\r\nM0zeroXstock tool1.", max_size=80))
def test_anything_at_all_is_read(text):
    assert all(isinstance(name, str) for name in read_statements(text))


def test_a_program_that_states_nothing_is_compared_with_nothing():
    assert not list(stated_differences(b"G21\nM30\n", HEAD))


@pytest.mark.parametrize("word", ["makes", "zero", "hold", "stock", "tool", "stop", "machine"])
def test_a_statement_left_out_is_told_with_its_code(word):
    lines = [s for s in HEAD.split("\n") if not s.startswith((f"({word}", "(side"))]
    if word == "stop":
        lines = [s for s in lines if not s.startswith(("(change", "(and"))]
    given_text = "\n".join(lines)
    found = list(stated_differences(given_text.encode(), HEAD))
    assert CODES[word] in {f.code for f in found}


@pytest.mark.parametrize(("old", "new", "told"), [
    ("(makes nut", "(makes saddle", True),
    ("on edge)", "on face)", True),
    ("(job Quillmere 2)", "(job Larkfield 3)", True),
    ("(job Quillmere 2)", "( JOB: Quillmere  2 )", False),
])  # fmt: skip
def test_what_it_makes_and_for_which_job_is_compared(old, new, told):
    found = list(stated_differences(HEAD.replace(old, new).encode(), HEAD))
    assert [d.code for d in found] == [Code.STATED_PROGRAM] * told


def test_another_job_by_its_digest_is_no_edited_name():
    """Programs of equal instruments are whole on each; whose it is stands beside the verdict."""
    twin = HEAD.replace("Quillmere 2", "Quillmere 3").replace("0123456789abcdef", "f" * 16)
    assert not list(stated_differences(twin.encode(), HEAD))


@pytest.mark.parametrize(("path", "named"), [
    ("out/nut-edge.ngc", None), ("out/nut-edge-1.ngc", "nut-edge-1.ngc"),
    ("nut-face.ngc", "nut-face.ngc"), ("load-3-nut-edge.ngc", None), ("mine.nc", None),
])  # fmt: skip
def test_a_file_named_as_another_program(path, named):
    found = [d.finding("nut-edge.ngc").what for d in other_file_name(path, "nut-edge")]
    said = f'states its file as "nut-edge.ngc", but today it is "{named}"'
    assert found == ([said] if named else [])


LOOKS = """G21 G17 G90 G94 G40
G49
G54
M5
T1
G0 Z15
G0 X0 Y0
(look the tip is over the left end)
M0
G0 X3.4
(look the tip is over slot 6)
M0
M30
"""


@pytest.mark.parametrize(("old", "new", "told"), [
    ("G0 X3.4", "G0 X3.405", None),
    ("G0 X3.4", "G1 X3.4", None),
    ("G0 X3.4", "G0 X4.4", "stands at X4.40 Y0.00 Z15.00 at stop 2, but today it is X3.40"),
    ("G0 X0 Y0", "G0 X0 Y-1", "stands at X0.00 Y-1.00"),
    ("G0 Z15", "G0 Z25", "stands at X0.00 Y0.00 Z25.00 at stop 1"),
    ("G0 X3.4\n", "", "stands at X0.00"),
])  # fmt: skip
def test_a_stop_in_the_air_stands_where_it_tells(old, new, told):
    """By what is seen at a stop zeros are set: one moved aside would have them set wrong."""
    found = list(moved_looks(LOOKS.replace(old, new, 1).encode(), LOOKS, MILL))
    assert {d.code for d in found} == ({Code.STATED_LOOK} if told else set())
    assert not told or found[0].finding("x").what.startswith(told)


def test_a_difference_is_told_with_its_name_once():
    (found,) = stated_differences(HEAD.replace("ball 2 mm", "ball 1 mm").encode(), HEAD)
    said = found.finding("nut-edge.ngc")
    assert (said.code, said.program) == (CODES["tool"], "nut-edge.ngc")
    assert said.what == (
        'states tool 9 "ball 1 mm, 2 flutes", but today it is "ball 2 mm, 2 flutes"'
    )
    gone = HEAD.replace("(tool 9 ball 2 mm, 2 flutes)\n", "")
    (missing,) = stated_differences(gone.encode(), HEAD)
    assert missing.finding("x").what.startswith("states tool 9 nothing, but today it is ")
