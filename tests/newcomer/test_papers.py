"""The papers explain everything that there is to explain: keys, codes of findings, refusals."""

import re

from blankcam.replay.findings import Code
from tests.newcomer import papers
from tests.newcomer.papers import DOCS


def test_every_key_of_a_job_is_explained():
    (shown,) = papers.TABLES.findall((DOCS / "job-file.md").read_text(encoding="utf-8"))
    assert shown == papers.key_tables(), "write them anew: python -m tests.newcomer.papers"
    assert shown.count("\n| `") > 40


def test_every_code_of_the_proof_is_explained_once_and_no_other():
    text = (DOCS / "findings.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([RMCJ]\d\d) \| (.+?) \| (.+?) \|$", text, re.MULTILINE)
    assert [code for code, _, _ in rows] == [str(code) for code in Code]
    for code, means, fix in rows:
        assert len(means) > 15, code
        assert len(fix) > 15, code
