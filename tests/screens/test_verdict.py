"""At the verdict: what was suggested is kept with what was done about it; a wrong word can be taken back."""

from diagnostics.cases import Suggestion
from tests.screens.conftest import Visitor
from tests.screens.test_work import at_verdict


def tell(s: Suggestion) -> tuple[str, str, str]:
    return s.action, s.what, s.outcome


def test_suggested_repair_is_kept_with_whether_it_was_made(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("repair", "fit_end_resistor@end", "followed")
    written = [str(m.value) for m in at_work.at.markdown]
    told, step = (next(n for n, text in enumerate(written) if mark in text) for mark in ("✗ Still faulty", "## "))
    assert told < step
    at_work.tap("take_back_repair_0")
    assert [r.cured for r in at_work.case.repairs] == [None]
    at_work.tap("correct ")  # a reading behind the verdict
    assert "Correcting an earlier reading" in at_work.text


def test_repair_of_ones_own_is_kept_as_another_than_the_suggested_one(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("measure", "panel_shows|panel|standby", "other")


def test_whether_it_cured_is_asked_only_once_the_work_is_said_to_be_done(at_work: Visitor) -> None:
    at_verdict(at_work)
    assert not at_work.has("cured")
    assert "Is the complaint gone?" not in at_work.text
    at_work.tap("work_done")
    assert "Is the complaint gone?" in at_work.text
    assert at_work.case.repairs == ()
    assert at_work.reload().has("cured")
    at_work.tap("work_not_done")
    assert not at_work.has("cured")


def test_work_that_was_done_once_is_not_taken_as_done_again(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("still_faulty")
    at_work.tap("to_repair")
    assert not at_work.has("cured")
