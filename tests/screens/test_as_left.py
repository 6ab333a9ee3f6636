"""Readings as a loop is left: typed once more when it is sound, offered at the next visit to a loop like it."""

import pytest

from diagnostics.cases import Acknowledgement, Baseline, CaseStore
from diagnostics.reports import say
from diagnostics.visit import assess_case, close_case, find_stage, record_repair, start_visit
from tests.cases.mended import prove
from tests.screens.conftest import Visitor
from tests.screens.real_work import OWN, START, build_restored, describe

ZONE = "Volts: red on zone\u00a01 +, black on zone\u00a01 −"


@pytest.fixture
def at_form(store: CaseStore) -> Visitor:
    """Return somebody who notes how a restored loop reads."""
    return Visitor(store, build_restored(store, OWN).case_id).tap("left_open")


def leave(at_form: Visitor) -> Visitor:
    at_form.type(ZONE, "19.2").tap("left_keep")
    return at_form.close()


def test_readings_of_the_sound_loop_are_kept_and_blame_no_fault(at_form: Visitor) -> None:
    assert "Live cabinet" in at_form.text
    at_form.type(ZONE, "19,2")
    assert "Understood: 19.2 V" in at_form.text
    assert "19,2" in str(dict(at_form.reload().at.query_params))
    at_form.tap("left_keep")
    *_, reading = at_form.case.readings
    assert (reading.value, reading.condition) == ("19,2", "absent")
    assert assess_case(at_form.case).taken == ()
    assert find_stage(at_form.case) == "closing"
    assert "19.2 V" in at_form.text


def test_reading_that_no_sound_loop_gives_is_asked_about(at_form: Visitor) -> None:
    at_form.type(ZONE, "12.1")
    assert "A sound loop shows 19.1" in at_form.text
    assert "really restored" in at_form.text


@pytest.mark.parametrize("typed", ["", "abc", "4.7 k"])
def test_nothing_is_kept_of_what_cannot_be_read(at_form: Visitor, typed: str) -> None:
    before = at_form.case.readings
    at_form.type(ZONE, typed).tap("left_keep")
    assert at_form.at.error
    assert at_form.case.readings == before


def test_reading_as_left_can_be_taken_back(at_form: Visitor) -> None:
    at_form.type(ZONE, "19.2").tap("left_keep").tap("left_back_0")
    assert [r.value for r in at_form.case.readings] == ["19.13 V"]  # what the tests asked for stays


def test_invented_case_has_no_next_visit(store: CaseStore) -> None:
    case = build_restored(store)
    assert "For the next visit" in Visitor(store, case.case_id).text
    invented = Acknowledgement("invented end_resistor_missing@end", START)
    case = store.append_acknowledgement(case.case_id, invented, case.revision)
    assert "For the next visit" not in Visitor(store, case.case_id).text


def test_next_visit_to_a_loop_described_the_same_is_asked_once(at_form: Visitor, store: CaseStore) -> None:
    first = leave(at_form)
    assert "this site's baseline" in first.text
    second = Visitor(store, describe(store, OWN, complaint=False).case_id)
    assert "Has anything changed?" in second.text
    assert f"{ZONE}: **19.2 V**".replace("\u00a0", " ") in second.text
    assert second.reload().has("baseline_same")
    second.tap("baseline_same")
    assert second.case.baseline.case_id == first.case_id
    assert [r.value for r in second.case.baseline.readings] == ["19.2"]
    assert "The complaint" in second.text
    assert "Has anything changed?" not in second.reload().text


def test_what_may_have_changed_is_not_used_and_not_asked_again(at_form: Visitor, store: CaseStore) -> None:
    leave(at_form)
    second = Visitor(store, describe(store, OWN, complaint=False).case_id).tap("baseline_changed")
    assert second.case.baseline == Baseline()
    assert "Has anything changed?" not in second.reload().text


def test_baseline_in_use_is_shown_at_work_and_can_be_taken_out(at_form: Visitor, store: CaseStore) -> None:
    leave(at_form)
    second = Visitor(store, describe(store, OWN).case_id).tap("baseline_same")
    assert "As left at an earlier visit (1)" in [e.label for e in second.at.expander]
    second.tap("baseline_drop")
    assert second.case.baseline == Baseline()
    assert "As left at an earlier visit (1)" not in [e.label for e in second.at.expander]


def test_baseline_that_somebody_decided_against_is_not_offered(at_form: Visitor, store: CaseStore) -> None:
    first = leave(at_form).tap("left_decide")
    assert "not used as a baseline" in first.text
    assert not Visitor(store, describe(store, OWN, complaint=False).case_id).has("baseline_same")
    first.tap("left_decide")
    assert Visitor(store, describe(store, OWN, complaint=False).case_id).has("baseline_same")


def test_loop_described_otherwise_is_not_asked_about(at_form: Visitor, store: CaseStore) -> None:
    leave(at_form)
    other = OWN.replace("4.7 kΩ", "5.6 kΩ")
    assert other != OWN
    assert not Visitor(store, describe(store, other, complaint=False).case_id).has("baseline_same")


def test_case_without_readings_after_its_repair_offers_nothing(store: CaseStore) -> None:
    case = record_repair(store, describe(store), "fit_head@det3", cured=True)  # a head asks for no volts
    close_case(store, prove(store, case, "det8"), "mended", told="the owner")
    assert not Visitor(store, describe(store, OWN, complaint=False).case_id).has("baseline_same")
    assert not Visitor(store, start_visit(store).case_id).has("baseline_same")


def test_example_that_others_left_sound_is_not_asked_about_unless_somebody_wants_it(store: CaseStore) -> None:
    """A trainer's students all begin from the same example: none of them comes to the loop that another has left."""
    first = leave(Visitor(store, build_restored(store).case_id).tap("left_open"))
    assert "only where somebody asks for them" in first.text
    second = Visitor(store, describe(store, complaint=False).case_id)
    assert "Has anything changed?" not in second.text
    assert "The complaint" in second.text
    second.tap("baseline_of_example")
    assert "Has anything changed?" in second.reload().text
    second.tap("baseline_same")
    assert second.case.baseline.case_id == first.case_id
    assert "The complaint" in second.text
    assert not second.has("baseline_of_example")


@pytest.mark.parametrize("answer", ["baseline_same", "baseline_changed"])
def test_what_was_said_of_the_complaint_is_still_there_after_a_look_at_an_earlier_case(
    store: CaseStore, answer: str
) -> None:
    leave(Visitor(store, build_restored(store).case_id).tap("left_open"))
    second = Visitor(store, describe(store, complaint=False).case_id).complain("will_not_reset")
    second.choose(say("q_context"), "aged").tap("baseline_of_example").tap(answer)
    second.tap("complaint_use")
    assert (second.case.symptom, second.case.contexts) == ("will_not_reset", ("aged",))


def test_nothing_is_offered_on_an_example_that_nobody_has_left(store: CaseStore) -> None:
    assert not Visitor(store, describe(store, complaint=False).case_id).has("baseline_of_example")
