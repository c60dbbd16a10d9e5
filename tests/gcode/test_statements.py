"""What a program states for the operator, read from its comments in whatever form they come.

The form of comments is RS274/NGC's (NISTIR 6556, 3.3.4: parentheses, none nested; a semicolon's
runs to the end of its line, as the controller's own manual has it).
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.statements import differences, read_statements
from blankcam.workflows.stated import CODES, stated_differences

HEAD = """(SAFETY)
(makes nut, on edge)
(machine bench mill)
(stock x 0.00 to 44.45, y 0.00 to 6.04)
(zero X0 the left end that the outline has cut, Y0 its fingerboard)
(side, Z0 its seat side)
(hold vice, jaws up to 4 mm over the seat side)
(tool 2 ball 3 mm, 2 flutes)
(tool 9 ball 2 mm, 2 flutes)
(time about 8.7 min)
(moves digest 0123)
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
    other = HEAD.replace("8.7", "9.9").replace("0123", "4567").replace("SAFETY", "ZERO RISK")
    assert read_statements(other) == STATED


def test_of_two_statements_of_one_name_the_last_counts():
    twice = HEAD.replace("(time", "(zero X0 elsewhere)\n(time")
    assert read_statements(twice)["zero"] == "X0 elsewhere"


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


@pytest.mark.parametrize("word", ["zero", "hold", "stock", "tool", "stop", "machine"])
def test_a_statement_left_out_is_told_with_its_code(word):
    lines = [s for s in HEAD.split("\n") if not s.startswith((f"({word}", "(side"))]
    if word == "stop":
        lines = [s for s in lines if not s.startswith(("(change", "(and"))]
    given_text = "\n".join(lines)
    found = list(stated_differences(given_text.encode(), HEAD))
    assert CODES[word] in {f.code for f in found}


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
