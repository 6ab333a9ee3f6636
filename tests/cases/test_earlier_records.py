"""What earlier programs wrote is read whole.

``before/store.sql`` and ``before/case.txt`` were written by the code of this repository at commit 522e932, before the
record kept what was understood, suggestions, tests and descriptions of the site; they are never written anew.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from diagnostics.cases import Case, CaseStore, Reading, parse_case, read_case, write_case
from diagnostics.source import read_document
from diagnostics.visit import assess_case, find_stage, record_reading
from tests.cases.invented import SITE_TEXT

BEFORE = Path(__file__).with_name("before")


@pytest.fixture
def earlier_url(tmp_path: Path) -> str:
    """Return the address of a store as the earlier program left it."""
    file = tmp_path / "cases.sqlite3"
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript((BEFORE / "store.sql").read_text("utf-8"))
    return f"sqlite:///{file}"


@pytest.fixture
def earlier(earlier_url: str) -> Case:
    """Return the fuller of the two cases of the earlier store."""
    with CaseStore(earlier_url) as store:
        return store.load_case("old1-case-aaaa")


def test_store_of_an_earlier_program_is_read_whole(earlier: Case) -> None:
    assert [r.value for r in earlier.readings] == ["OL", "23.3 V", "dark"]
    assert [(r.reading.value, r.why, r.replaced_by) for r in earlier.retracted] == [("1.1 V", "corrected", "")]
    assert (earlier.closing, earlier.leaving, earlier.revision) == ("mended", None, 14)
    assert [r.fault for r in earlier.repairs] == ["join the wire"]
    assert earlier.repairs[0].cured
    assert (earlier.repairs[0].suspected, earlier.repairs[0].saw, earlier.repairs[0].own_words) == ((), "", "")
    assert (earlier.repairs[0].foreseen, earlier.repairs[0].out) == ((), ())
    assert (earlier.suggestions, earlier.guide_answers, earlier.tests) == ((), (), ())
    assert all(r.understood is None for r in earlier.readings)


def test_earlier_descriptions_of_the_site_come_out_of_an_earlier_store(earlier: Case) -> None:
    (first,) = earlier.earlier_sites
    assert (first.site_text, first.described_at) == (SITE_TEXT, None)
    assert earlier.site_text == SITE_TEXT.replace("count: 5", "count: 6")
    assert [r.site_revision for r in earlier.readings] == [1, 1, 2]


def test_case_file_of_an_earlier_program_means_the_same() -> None:
    case = read_case(BEFORE / "case.txt")
    assert [(r.value, r.by) for r in case.readings] == [("OL", ""), ("23.3 V", ""), ("dark", "Kim")]
    assert find_stage(case) == "closed"
    assert [t.value for t in assess_case(case).taken] == [float("inf"), 23.3, "dark"]
    again = write_case(case)
    assert parse_case(read_document(again, "again"), None, text=again) == case


def test_work_goes_on_in_an_earlier_store(earlier_url: str) -> None:
    with CaseStore(earlier_url) as store:
        case = store.append_closing("old1-case-aaaa", "", 14)
        case = record_reading(store, case, Reading("volts", "19,1 V", "panel.zone1+", "panel.zone1-"))
        assert store.load_case("old1-case-aaaa") == case
        assert case.readings[-1].understood is not None
        assert case.readings[-1].understood.value == 19.1
        rows = store.list_cases()
        assert [(r.case_id, r.closing) for r in rows] == [("old2-case-bbbb", "left_impaired"), ("old1-case-aaaa", "")]
