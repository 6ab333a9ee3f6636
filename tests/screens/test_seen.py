"""What a repair was for, and what was seen there: one tap, never forced, plain in the record."""

import re
from dataclasses import replace

import pytest

from diagnostics.cases import Case, CaseStore, parse_case, write_case
from diagnostics.errors import NotFoundError
from diagnostics.readings import Faults
from diagnostics.reports import render_record
from diagnostics.source import read_document
from diagnostics.visit import assess_case, find_stage, list_proof, note_seen, tell_meaning
from tests.screens.conftest import Visitor
from tests.screens.real_work import describe, describe_call
from tests.screens.test_work import at_verdict

ASKED = "What was seen there?"
PLUS, MINUS = "conductor_open@det5.in+", "conductor_open@det5.in-"
WHICH = "Was it one of these? It may be left out"
AGAINST = "What was mended is not what the readings had pointed to."


def print_record(case: Case) -> str:
    """Return the text of the printed record, without its marks."""
    return " ".join(re.sub("<[^>]+>", " ", render_record(case).partition("<body>")[2]).split())


def reread(case: Case) -> Case:
    text = write_case(case)
    return parse_case(read_document(text, "case"), None, text=text)


@pytest.fixture
def mended(at_work: Visitor) -> Visitor:
    """Return somebody whose repair cured: a wrong end resistor, by what was read."""
    return at_verdict(at_work).tap("work_done").tap("cured")


@pytest.fixture
def mended_either(store: CaseStore) -> Visitor:
    """Return somebody whose repair cured: the plus or the minus conductor of one run."""
    return Visitor(store, describe_call(store).case_id).tap("work_done").tap("cured")


def test_record_names_what_was_suspected_though_nobody_said_more(mended: Visitor) -> None:
    assert [r.suspected for r in mended.case.repairs] == [("end_resistor_missing@end",)]
    assert "Suspected: End resistor missing at the far end." in mended.text
    assert re.search(
        r"Suspected Seen there .*End resistor missing at the far end not said yes", print_record(mended.case)
    )
    assert reread(mended.case) == mended.case


def test_that_it_was_as_suspected_is_one_tap_and_another_takes_it_back(mended: Visitor) -> None:
    mended.pick(ASKED, "as_suspected")
    assert [(r.saw, r.found, r.cured) for r in mended.case.repairs] == [("as_suspected", "", True)]
    assert "as suspected yes" in print_record(mended.case)
    assert reread(mended.case) == mended.case
    assert find_stage(mended.reload().case) == "proof"
    mended.pick(ASKED, None)
    assert mended.case.repairs[0].saw == ""


def test_nothing_to_be_seen_is_said_as_that(mended: Visitor) -> None:
    mended.pick(ASKED, "nothing")
    assert "nothing to be seen yes" in print_record(mended.case)
    assert AGAINST not in print_record(mended.case)


def test_something_else_is_told_plainly_at_the_closing_in_the_record_and_once_closed(mended: Visitor) -> None:
    mended.pick(ASKED, "other")
    assert (mended.case.repairs[0].saw, mended.case.repairs[0].found) == ("other", "")
    assert AGAINST in print_record(mended.case)
    mended.type("What was it? A few words", "a screw loose at detector 3").tap("seen_other_keep")
    assert mended.case.repairs[0].found == "a screw loose at detector 3"
    assert "functional_test det3" in [i.key for i in list_proof(mended.case, assess_case(mended.case).loop)]
    mended.tap("tests_end")
    assert AGAINST in mended.text
    assert "Seen there instead: a screw loose at detector 3." in mended.text
    mended.pick("How do you leave it?", "waiting")
    mended.at.text_area(key="note").set_value("the tests, tomorrow")
    mended.run()
    mended.close()
    assert AGAINST in mended.text
    assert "something else: a screw loose at detector 3 yes" in print_record(mended.case)
    assert reread(mended.case) == mended.case


def test_of_several_the_group_is_named_as_one_of_them_and_either_is_a_tap(mended_either: Visitor) -> None:
    assert mended_either.case.repairs[0].suspected == (PLUS, MINUS)
    assert "Suspected, one of: Open conductor, plus conductor" in mended_either.text
    assert "one of: Open conductor, plus conductor" in print_record(mended_either.case)
    mended_either.pick(ASKED, f"as_suspected {MINUS}")
    assert [(r.saw, r.found) for r in mended_either.case.repairs] == [("as_suspected", MINUS)]
    for told in (mended_either.text, print_record(mended_either.case)):
        assert re.search(r"as suspected: [^.]*minus conductor, run into detector 5 \(bakehouse\)", told)
    again = mended_either.reload()
    assert next(g for g in again.at.button_group if g.label == ASKED).value == f"as_suspected {MINUS}"


def test_it_is_asked_after_a_repair_in_vain_too_and_moves_no_belief(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("still_faulty")
    before = tell_meaning(at_work.case)
    at_work.pick(ASKED, "nothing")
    assert at_work.case.repairs[0].saw == "nothing"
    assert tell_meaning(at_work.case) == before


def test_what_was_taken_back_or_never_suspected_is_not_asked_for(mended: Visitor) -> None:
    mended.pick(ASKED, "other").tap("proof_mistake")
    assert ASKED not in mended.text
    assert ASKED not in [g.label for g in mended.at.button_group]
    assert AGAINST not in print_record(mended.case)
    with pytest.raises(NotFoundError, match="was not suspected"):
        note_seen(mended.store, mended.case, 0, "as_suspected", PLUS)


def own_repair(visitor: Visitor, suspect: str, words: str = "") -> Visitor:
    """Tell a repair of one's own as that of a suspect, up to whether it cured."""
    visitor.tap("to_repair").pick(WHICH, suspect)
    if words:
        visitor.type("What did you put right?", words)
    return visitor.tap("work_done")


def test_own_repair_of_a_suspect_is_kept_believed_and_tested_as_that_repair(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id)
    own_repair(visitor, MINUS, "screw tightened, dust out of detector 2")
    assert next(g for g in visitor.reload().at.button_group if g.label == WHICH).value == MINUS
    (repair,) = visitor.tap("cured").case.repairs
    assert (repair.fault, repair.suspected, repair.saw) == ("mend_conductor@run det5", (MINUS,), "as_suspected")
    assert visitor.case.suggestions[-1].outcome == "followed"
    told = print_record(visitor.case)
    assert "Told as: screw tightened, dust out of detector 2." in told
    assert "Open conductor, minus conductor, run into detector 5 (bakehouse) as suspected yes" in told
    touched = {i.at for i in list_proof(visitor.case, assess_case(visitor.case).loop) if "touched" in i.reasons}
    assert {"det2", "det4", "det5"} <= touched  # both ends of the run, and what was typed
    assert reread(visitor.case) == visitor.case


def test_own_repair_of_a_suspect_in_vain_takes_the_suspicion_off_it(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id)
    own_repair(visitor, PLUS).tap("still_faulty")
    assert [(r.fault, r.cured) for r in visitor.case.repairs] == [("mend_conductor@run det5", False)]
    in_words = replace(visitor.case, repairs=(replace(visitor.case.repairs[0], fault="a loose wire"),))
    some = (assess_case(c).diagnosis for c in (in_words, visitor.case))
    share = [sum(c.probability for c in d.candidates if _is_run(c.faults)) for d in some]
    assert share[0] > 0.95  # words alone are nobody's repair: the same would be proposed again
    assert share[1] < 0.75


def _is_run(faults: Faults) -> bool:
    return any(fault.repair_class == ("mend_conductor", "run det5") for fault in faults)


def test_own_repair_shows_each_caution_once_and_those_of_its_place_once_that_is_known(store: CaseStore) -> None:
    def list_titles(visitor: Visitor) -> list[str]:
        return list(re.findall(r"⚠ \*\*(.+?)\.\*\*", visitor.text))

    visitor = Visitor(store, describe(store).case_id).tap("to_repair")
    people = "Tell people first, out of service"
    anywhere = ["Outputs", "Live cabinet", "Ladder", people, "Evidence first", "Who outranks this tool"]
    assert list_titles(visitor) == anywhere
    visitor.pick(WHICH, "end_resistor_missing@end")
    assert list_titles(visitor) == ["Outputs", "Dead first", *anywhere[2:]]
    visitor.pick(WHICH, "zone_resistor_setting@zone1")  # no wire comes off for that, and nobody climbs
    assert list_titles(visitor) == [
        "Outputs", "Live cabinet", "Tell people first", "Evidence first", "Who outranks this tool"
    ]  # fmt: skip
    visitor.pick(WHICH, None)
    assert list_titles(visitor) == anywhere
    visitor.type("What did you put right?", "a loose wire")
    assert list_titles(visitor) == anywhere
    visitor.type("What did you put right?", "head of detector 3 was loose")
    assert list_titles(visitor) == [title for title in anywhere if title != "Live cabinet"]
    visitor.type("What did you put right?", "new batteries")
    assert list_titles(visitor) == [title for title in anywhere if title != "Ladder"]


def test_own_repair_needs_words_or_a_suspect_and_a_second_tap_takes_the_suspect_back(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id)
    visitor.tap("to_repair").pick(WHICH, PLUS).pick(WHICH, None).tap("work_done")
    assert "Say first what you put right, or tap which suspect it was." in visitor.text
    visitor.type("What did you put right?", "a loose wire").tap("work_done").tap("cured")
    assert [(r.fault, r.suspected, r.saw, r.own_words) for r in visitor.case.repairs] == [("a loose wire", (), "", "")]
