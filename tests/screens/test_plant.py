"""A trainer hides a fault: in any loop, only one that is complained of; at the end it is told how it was gone after."""

from datetime import UTC

import pytest

from diagnostics.cases import CaseStore, read_case
from diagnostics.errors import SiteError
from diagnostics.readings import Bench, list_measurements, parse_value
from diagnostics.reports import Words
from diagnostics.screens.record import build_file, build_file_name
from diagnostics.visit import (
    build_bench,
    close_case,
    find_about,
    find_hidden,
    find_stage,
    record_reading,
    simulate_reading,
    start_visit,
)
from diagnostics.wiring import Site
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
    assert "The model would find it. Readings: " in trainer.text
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
    refused = "".join(str(e.value) for e in trainer.at.error)
    assert told in refused
    assert "resistor_wrong" not in refused.replace("\\", ""), "no name that files use"
    assert not trainer.has("plant_use")
    assert trainer.store.list_cases() == ()


def test_a_reload_loses_nothing_of_the_form(trainer: Visitor) -> None:
    choose(choose(trainer, KIND, "Bad joint"), WHERE, "minus conductor, run into detector 3").type(OHMS, "350")
    again = trainer.reload()
    assert "Hidden is: Bad joint of about 350 Ω, minus conductor, run into detector 3" in again.text.replace(
        "\u00a0", " "
    )


def test_a_look_at_the_cases_loses_nothing_of_the_form(trainer: Visitor) -> None:
    """Found by trying: back at the screen, loop, fault, place and ohms had to be chosen anew."""
    choose(choose(trainer, LOOP, "Hostel"), KIND, "Bad joint")
    choose(trainer, WHERE, "detector 6").type(OHMS, "3500").pick("The past of the loop", "aged")
    typed = [f.value for f in (*trainer.at.selectbox, *trainer.at.text_input, *trainer.at.radio)]
    trainer.tap("all_cases")
    assert not [name for name in trainer.at.query_params if name.startswith("plant")]
    trainer.tap("plant")
    assert [f.value for f in (*trainer.at.selectbox, *trainer.at.text_input, *trainer.at.radio)] == typed
    choose(trainer, LOOP, "Corner bakery").tap("all_cases").tap("plant")
    assert next(b.value for b in trainer.at.selectbox if b.label == LOOP) == "example bakery", "what was chosen last"


def test_the_page_of_the_trainer_has_the_form_again_after_a_case_and_the_case_and_other_pages_have_not(
    trainer: Visitor,
) -> None:
    choose(trainer, KIND, "Open conductor").tap("plant_use")
    assert not [name for name in trainer.at.query_params if name.startswith("plant_")]
    kinds = [
        next(b.value for b in visitor.tap("plant").at.selectbox if b.label == KIND)
        for visitor in (trainer.tap("all_cases"), Visitor(trainer.store))
    ]
    assert kinds == ["conductor_open", "end_resistor_wrong"]


def test_a_fault_that_nobody_would_notice_is_not_hidden(trainer: Visitor) -> None:
    trainer.type(OHMS, "4k7")  # the right one
    assert "None of the complaints that are offered comes of this here" in trainer.text
    choose(trainer, KIND, "Bad joint").type(OHMS, "0.1")
    assert "None of the complaints that are offered comes of this here" in trainer.text
    assert not trainer.has("plant_use")


def test_a_zone_that_takes_the_reports_of_its_own_heads_alone_can_be_hidden(trainer: Visitor) -> None:
    """Behind a module with smoke and CO a bypassed zone takes the reports of its own heads: some, not all, not one."""
    choose(choose(trainer, LOOP, "Orchard cider house"), KIND, "Bypassed, disabled or in test")
    assert "None of the complaints that are offered comes of this here" not in trainer.text
    trainer.tap("plant_use")
    assert trainer.case.symptom == "some_do_not_report"


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
    assert still in mislead(at_work.store).tap("work_done").text


def mislead(store: CaseStore) -> Visitor:
    """Return somebody at the verdict of the run into detector 5, while a conductor into detector 3 is hidden."""
    case = start_visit(store, describe(store), "conductor_open@det3.in-")
    for reading in read_case(CALL).readings:
        case = record_reading(store, case, reading)
    misled = Visitor(store, case.case_id)
    for key in SAFETY:
        misled.tap(key)
    return misled.tap("lead")


def test_real_work_is_told_nothing_of_the_kind(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id).tap("work_done")
    assert "invented case" not in visitor.text


def test_before_anything_is_told_to_anybody_a_practice_case_says_what_it_is(trainer: Visitor) -> None:
    """Of a place that is one's own the cautions read like real work: its station might be called."""
    trainer.tap("plant_use")
    for key in SAFETY:
        assert "For practice, no real work" in trainer.text, key
        trainer.tap(key)
    assert "For practice, no real work" not in Visitor(trainer.store, describe_call(trainer.store).case_id).text


def test_the_case_file_says_what_is_hidden_and_is_offered_at_the_end_only(trainer: Visitor) -> None:
    trainer.tap("plant_use")
    for key in SAFETY:
        trainer.tap(key)
    case, hidden = trainer.case, find_hidden(trainer.case)
    assert hidden
    kinds = ("record", "card", "impairment")
    assert [b.key for b in trainer.at.download_button] == ["file_record", "file_card"]
    shown = "".join(build_file(trainer.store, case.case_id, kind, "north_america", UTC) for kind in kinds)
    assert "Invented case, for practice" in shown
    assert hidden not in shown
    assert "wrong value" not in shown
    close_case(trainer.store, case, "left_impaired")
    closed = Visitor(trainer.store, case.case_id)
    assert [b.key for b in closed.at.download_button] == ["file_impairment", "file_record", "file_card", "file_case"]
    assert hidden in build_file(trainer.store, case.case_id, "case", "north_america", UTC)


def test_files_of_practice_are_called_so(store: CaseStore) -> None:
    own = describe(store, OWN)
    practice = start_visit(store, own, "end_resistor_missing@end")
    names = [build_file_name(case, "record", UTC) for case in (own, practice)]
    assert names[1] == f"practice-{names[0]}"


def test_two_places_of_one_name_can_both_be_chosen_and_names_are_shown_as_they_are(store: CaseStore) -> None:
    first = describe(store, OWN.replace("Bakery of one's own (invented)", '"Hall #3 *north*"'))
    other = describe(store, first.site_text.replace("4.7 kΩ", "10 kΩ"))
    describe(store, first.site_text)  # the same once more
    (box,) = [b for b in Visitor(store, "plant").at.selectbox if b.label == LOOP]
    own = [name for name in box.options if "described here" in name]
    assert len(own) == 2
    assert "Hall #3 *north* (described here)" in own
    assert any(name.endswith(case.case_id) for name in own for case in (first, other))


def test_a_place_that_cannot_be_wired_any_more_is_refused_and_another_can_be_chosen(
    store: CaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = describe(store, OWN)

    def build(site: Site) -> Bench:
        if site == own.site:
            raise SiteError("this loop cannot be wired")
        return build_bench(site)

    monkeypatch.setattr("diagnostics.screens.plant.build_bench", build)
    trainer = choose(Visitor(store, "plant"), LOOP, "described here")
    assert "his loop cannot be wired" in "".join(str(e.value) for e in trainer.at.error)
    assert not trainer.has("plant_use")
    choose(trainer, LOOP, "Corner bakery")
    assert trainer.has("plant_use")


def test_what_is_left_as_it_was_is_said_to_be_right_or_not(at_work: Visitor) -> None:
    """Nobody stands there to look; the missing end resistor is hidden, and the model has found it."""
    is_not, is_right = "In this invented case: it is not right there.", "In this invented case: it is right there."
    at_verdict(at_work).tap("was_right")
    assert is_not in at_work.text
    at_work.tap("take_back_repair_0")
    assert is_not not in at_work.text
    assert is_right in mislead(at_work.store).tap("was_right").text


def test_one_s_own_repair_is_told_too_whether_it_helped(at_work: Visitor) -> None:
    at_verdict(at_work).tap("to_repair").type("What did you put right?", "a new resistor at the end").tap("work_done")
    assert "not with plain words" in at_work.text
    at_work.pick("Was it one of these? It may be left out", "end_resistor_missing@end")
    assert "In this invented case: the complaint is gone." in at_work.text


def test_after_a_repair_the_readings_agree_with_what_was_told_of_it(at_work: Visitor) -> None:
    """The complaint is gone, it was told; whoever says "still faulty" all the same reads a sound loop."""
    loop = build_bench(at_work.case.site).loop
    (zone,) = [
        m for m in list_measurements(loop) if (m.kind, m.red, m.mode.word) == ("volts", "panel.zone1+", "standby")
    ]
    faulty, sound = (simulate_reading(loop, hidden, zone) for hidden in ("end_resistor_missing@end", ""))
    told = [Words(loop).value(zone, parse_value(zone, loop, text)) for text in (faulty, sound)]
    at_verdict(at_work)
    before = Visitor(at_work.store, at_work.case_id, asked=zone.key)
    at_work.tap("work_done").tap("still_faulty")
    after = Visitor(at_work.store, at_work.case_id, asked=zone.key)
    offered = [b.label.replace("\u00a0", " ") for v in (before, after) for b in v.at.button if "use " in str(b.key)]
    assert offered == [f"Fill in what is there: {value}" for value in told]
    assert faulty != sound


def test_opened_again_a_practice_case_says_what_it_is_once_more(at_work: Visitor) -> None:
    at_work.tap("use ").tap("record")
    assert "For practice, no real work" not in at_work.text, "the head of the page says it now"
    close_case(at_work.store, at_work.case, "waiting")
    again = Visitor(at_work.store, at_work.case_id).tap("open_again")
    for key in SAFETY:
        assert "For practice, no real work" in again.text, key
        again.tap(key)


def test_a_case_carries_nothing_of_a_trainer_s_choices_in_its_address(store: CaseStore) -> None:
    visitor = Visitor(store, describe(store).case_id)
    visitor.at.query_params["plant_kind"] = "end_resistor_wrong"
    visitor.run()
    assert "plant_kind" not in visitor.at.query_params
    assert visitor.case_id in visitor.at.query_params["case"]
