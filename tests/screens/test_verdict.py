"""At the verdict: what was suggested is kept with what was done about it; a wrong word can be taken back."""

from diagnostics.cases import Suggestion
from tests.screens.conftest import Visitor
from tests.screens.test_work import at_verdict


def tell(s: Suggestion) -> tuple[str, str, str]:
    return s.action, s.what, s.outcome


def test_suggested_repair_is_kept_with_whether_it_was_made(at_work: Visitor) -> None:
    at_verdict(at_work).tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("repair", "fit_end_resistor@end", "followed")
    written = [str(m.value) for m in at_work.at.markdown]
    told, step = (next(n for n, text in enumerate(written) if mark in text) for mark in ("✗ Still faulty", "## "))
    assert told < step
    at_work.tap("take_back_repair_0")
    assert [r.cured for r in at_work.case.repairs] == [None]
    at_work.tap("correct ")  # a reading behind the verdict
    assert "Correcting an earlier reading" in at_work.text


def test_repair_of_ones_own_is_kept_as_another_than_the_suggested_one(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("measure", "panel_shows|panel|standby", "other")
