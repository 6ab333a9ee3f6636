"""A trainer hides a fault: in any loop, only one that is complained of; at the end it is told how it was gone after."""

import pytest

from diagnostics.cases import Case, CaseStore, read_case
from diagnostics.visit import find_about, find_hidden, find_stage, record_reading, start_visit
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import CALL, OWN, describe, describe_call
from tests.screens.test_work import at_verdict

LOOP, KIND, WHERE, OHMS = "The loop", "What is wrong", "Where", "Its resistance"


@pytest.fixture
def trainer(store: CaseStore) -> Visitor:
    return Visitor(store, "plant")


def choose(visitor: Visitor, label: str, wanted: str) -> Visitor:
    """Choose what has a word in it from a list to choose from."""
    (box,) = [b for b in visitor.at.selectbox if b.label == label]
    (name,) = [n for n in box.options if wanted in n][:1]
    box.set_value(name)
    visitor.run()
    return visitor


def test_it_opens_with_a_fault_that_is_complained_of_and_says_how_the_model_would_go(trainer: Visitor) -> None:
    assert "Hidden is: End resistor of " in trainer.text
    assert "The model would find it with " in trainer.text
    assert trainer.has("plant_use")


def test_what_a_fault_needs_to_be_told_is_asked_and_no_more(trainer: Visitor) -> None:
    assert OHMS in [f.label for f in trainer.at.text_input]
    assert WHERE not in [b.label for b in trainer.at.selectbox], "there is one end only"
    choose(trainer, KIND, "Open conductor")
    assert OHMS not in [f.label for f in trainer.at.text_input]
    choose(trainer, WHERE, "minus conductor, run into detector 3")
    assert "Hidden is: Open conductor, minus conductor, run into detector 3" in trainer.text


@pytest.mark.parametrize(("typed", "told"), [("green", "green"), ("-5", "-5"), ("5 V", "V"), ("1e999", "1e999")])
def test_ohms_that_are_none_are_refused_and_nothing_is_hidden(trainer: Visitor, typed: str, told: str) -> None:
    trainer.type(OHMS, typed)
    assert told in "".join(str(e.value) for e in trainer.at.error)
    assert not trainer.has("plant_use")
    assert trainer.store.list_cases() == ()


def test_a_reload_loses_nothing_of_the_form(trainer: Visitor) -> None:
    choose(choose(trainer, KIND, "Bad joint"), WHERE, "minus conductor, run into detector 3").type(OHMS, "350")
    again = trainer.reload()
    assert "Hidden is: Bad joint of about 350 Ω, minus conductor, run into detector 3" in again.text.replace(
        "\u00a0", " "
    )


def test_a_fault_that_nobody_would_notice_is_not_hidden(trainer: Visitor) -> None:
    trainer.type(OHMS, "4k7")  # the right one
    assert "Nobody would complain of this" in trainer.text
    choose(trainer, KIND, "Bad joint").type(OHMS, "0.1")
    assert "Nobody would complain of this" in trainer.text
    assert not trainer.has("plant_use")


def test_the_trainee_sees_loop_and_complaint_and_is_told_at_the_end_how_it_went(trainer: Visitor) -> None:
    choose(trainer, KIND, "Open conductor")
    choose(trainer, WHERE, "minus conductor, run into detector 3").pick("What is complained of", "only_first_report")
    trainer.pick("The past of the loop", "aged").tap("plant_use")
    case = trainer.case
    assert find_hidden(case) == "conductor_open@det3.in-"
    assert (case.symptom, case.contexts, find_stage(case)) == ("only_first_report", ("aged",), "is_it_real")
    assert "conductor_open" not in trainer.text
    assert any("for practice" in b.label for b in Visitor(trainer.store).at.button), "nobody takes it for real work"
    assert "Open conductor" not in trainer.text


def test_of_two_loops_the_complaint_is_of_the_one_that_the_fault_is_on(trainer: Visitor) -> None:
    choose(choose(trainer, LOOP, "Hostel"), KIND, "Open conductor")
    choose(trainer, WHERE, "detector 6").tap("plant_use")
    assert find_about(trainer.case) == "zone2"


def test_a_loop_described_here_comes_first_and_an_invented_case_of_it_is_no_other(store: CaseStore) -> None:
    own = describe(store, OWN)
    start_visit(store, own, "end_resistor_missing@end")
    (box,) = [b for b in Visitor(store, "plant").at.selectbox if b.label == LOOP]
    assert [name for name in box.options if "described here" in name] == [box.options[0]]
    trainer = choose(Visitor(store, "plant"), LOOP, "described here").tap("plant_use")
    assert trainer.case.site == own.site
    assert trainer.case.site_text == own.site_text


def test_after_the_work_an_invented_case_says_whether_the_complaint_is_gone(at_work: Visitor) -> None:
    """At work, behind the verdict, with the missing end resistor that is hidden in the bakery."""
    gone, still = "In this invented case: the complaint is gone.", "In this invented case: it is still faulty."
    at_verdict(at_work)
    assert gone not in at_work.text
    at_work.tap("work_done")
    assert gone in at_work.text
    misled = Visitor(at_work.store, mislead(at_work.store).case_id)
    for key in SAFETY:
        misled.tap(key)
    misled.tap("lead").tap("work_done")
    assert still in misled.text


def mislead(store: CaseStore) -> Case:
    """Return a case whose readings lead to the run into detector 5, while a conductor into detector 3 is hidden."""
    case = start_visit(store, describe(store), "conductor_open@det3.in-")
    for reading in read_case(CALL).readings:
        case = record_reading(store, case, reading)
    return case


def test_real_work_is_told_nothing_of_the_kind(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id).tap("work_done")
    assert "invented case" not in visitor.text
