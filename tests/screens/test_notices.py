"""Readings that do not fit or are understood otherwise: named, with the reason, mended by one tap, and what it did."""

import re
from functools import partial

import pytest

from diagnostics.cases import CaseStore, Reading, Understood, write_site
from diagnostics.errors import SiteError
from diagnostics.visit import (
    assess_case,
    describe_site,
    find_change,
    find_doubted,
    record_reading,
    take_back_reading,
)
from diagnostics.wiring import ASSUMED, QuickDescription, build_quick_site
from tests.screens.conftest import Visitor
from tests.screens.real_work import OWN, describe
from tests.screens.test_work import FOUND, METER, at_volts

NOT_FITTING = "Two readings do not fit together"


@pytest.fixture
def at_doubt(at_work: Visitor) -> Visitor:
    """Return somebody with good volts everywhere but at detector 5, which cannot be."""
    at_volts(at_work).type(METER, "23.2").tap("record")
    case = at_work.case
    for at, value in (("det2.in", "23.2"), ("det8.in", "23.2"), ("det5.in", "3.1")):
        odd = Reading("volts", value, f"{at}+", f"{at}-", mode="standby")
        case = at_work.store.append_reading(case.case_id, odd, case.revision)
    return Visitor(at_work.store, case.case_id)


def find_buttons(visitor: Visitor, begins: str) -> list[str]:
    return [str(b.key) for b in visitor.at.button if str(b.key).startswith(begins)]


def test_reading_that_does_not_fit_is_named_above_the_step_and_marked_in_the_list(at_doubt: Visitor) -> None:
    doubted = find_doubted(assess_case(at_doubt.case))
    assert doubted is not None
    assert (doubted.red, doubted.value) == ("det5.in+", "3.1")
    assert NOT_FITTING in at_doubt.text
    assert "detector 5 (bakehouse): **3.1 V**. With it, what was read fits nothing" in at_doubt.text
    assert "⚠ It does not fit the others." in at_doubt.text
    assert find_buttons(at_doubt, "listed again") == [f"listed again {doubted.reading_id}"]
    assert "Ladder." in at_doubt.text  # the step to take again is at a detector


def test_correcting_what_was_typed_is_one_tap_and_says_what_it_did(at_doubt: Visitor) -> None:
    at_doubt.tap("notice correct").type(METER, "23.1").tap("record")
    assert NOT_FITTING not in at_doubt.text
    assert "black on − in of detector 5 (bakehouse): **3.1 V** is now **23.1 V**" in at_doubt.text
    assert "Everything that was read fits together again." in at_doubt.text
    again = at_doubt.reload()
    assert "Everything that was read fits together again." in again.text
    assert [r.value for r in again.case.readings][-1] == "23.1"


def test_what_a_correction_did_names_the_likeliest_before_and_now(at_work: Visitor) -> None:
    at_work.pick(FOUND, "alarm").tap("record")
    before = assess_case(at_work.case).diagnosis
    at_work.tap("correct ").pick(FOUND, "trouble").tap("record")
    change = find_change(at_work.case)
    assert change is not None
    assert assess_case(change.before).diagnosis.candidates == before.candidates
    assert "The likeliest was" in at_work.text
    at_work.type(METER, "23.2").tap("record")
    assert "The likeliest was" not in at_work.text


def test_taking_back_says_what_it_did_too(at_work: Visitor) -> None:
    at_volts(at_work).tap("take_back ")
    assert "Taken back: Panel display: **trouble**." in at_work.text
    assert "before and" in at_work.text or "The likeliest was" in at_work.text


def test_what_was_taken_back_of_a_loop_described_otherwise_since_stops_nothing(store: CaseStore) -> None:
    """Found by trying: *take that reading back first*, says the description - and the case stood still after it."""
    text = OWN.replace("      - {room: loading bay, run: 15 m}\n", "")
    assert text != OWN
    case = describe(store, OWN)
    case = record_reading(store, case, Reading("volts", "23.2", "det8.in+", "det8.in-", mode="standby"))
    with pytest.raises(SiteError, match="cannot have been taken on this loop"):
        describe_site(store, case, text)
    case = take_back_reading(store, case, case.readings[0].reading_id, "")
    assert "Taken back: " in Visitor(store, case.case_id).text
    anew = Visitor(store, describe_site(store, case, text).case_id)
    assert [e.value for e in anew.at.error] == []
    assert anew.has("record") or anew.has("guide_answer")
    assert "Taken back: volts det8.in+ det8.in- standby: **23.2 V**" in anew.text, "in the list of readings"
    assert not [s.value for s in anew.at.success if "Taken back" in s.value], "there is nothing to hold it against"


def test_taking_again_is_one_tap_from_any_other_step_and_the_new_reading_counts(at_doubt: Visitor) -> None:
    at_doubt.tap("something_else").tap("notice again").type(METER, "23.1").tap("record")
    assert NOT_FITTING not in at_doubt.text
    assert [r.value for r in at_doubt.case.readings][-2:] == ["3.1", "23.1"]


def test_reading_that_is_understood_otherwise_today_is_named_with_both_meanings(at_work: Visitor) -> None:
    case = at_work.case
    leads = ("panel.zone1+", "panel.zone1-")
    old = Reading("volts", "2,320", *leads, mode="standby", understood=Understood(23.2, "V"))
    at_work.store.append_reading(case.case_id, old, case.revision)
    again = Visitor(at_work.store, case.case_id)
    assert again.text.count("2,320 (23.2 V) - this program would read the text as nothing that it knows") == 2
    assert again.has("misread again")
    again.tap("misread correct").type(METER, "23.2").tap("record")
    assert "this program would read" not in again.text
    assert [(r.value, r.understood) for r in again.case.readings] == [("23.2", Understood(23.2, "V"))]


def test_what_a_description_assumed_is_doubted_with_the_reading(at_doubt: Visitor) -> None:
    """Found by trying: a supervision relay that nobody was sure of made the fault impossible, and nothing said so."""
    description = QuickDescription("module_four_wire", "4", "4.7k", "18 AWG", "10 m", end_relay="not sure")
    (note,) = (n for n in build_quick_site(description)[1] if "supervision relay" in n)
    assert "describe the loop anew" not in at_doubt.text
    text = re.sub(r"(?m)^note:.*$", f"note: '{note}'", at_doubt.case.site_text)
    assert note in text
    case = at_doubt.store.append_site(at_doubt.case_id, text, at_doubt.case.revision)
    doubted = Visitor(at_doubt.store, case.case_id)
    assert NOT_FITTING in doubted.text
    assert "Or what nobody knew is otherwise: Whether a supervision relay sits at the end is not known" in doubted.text
    assert "describe the loop anew" in doubted.text


def test_what_was_looked_for_in_vain_is_asked_for_once_more_by_name(at_work: Visitor) -> None:
    case = at_work.case
    end = ("volts", "23.8", "det8.in+", "det8.in-")
    told = (
        Reading("panel_shows", "trouble", at="panel", mode="standby"),
        Reading("volts", "23.9", "panel.zone1+", "panel.zone1-", mode="standby"),
        Reading(*end, mode="standby"),
        Reading("lamp", "lit", at="det8", mode="standby"),
    )
    look = partial(Reading, "look", "as_it_should_be", at="det8", mode="standby")
    for reading in (*told, look()):
        case = at_work.store.append_reading(case.case_id, reading, case.revision)
    visitor = Visitor(at_work.store, case.case_id)
    assert "Look once more, for one thing" in visitor.text
    assert "All else points to this: End resistor missing at the far end." in visitor.text
    assert "Knowing what to look for, look again before anything is replaced." in visitor.text
    case = at_work.store.append_reading(case.case_id, look(), case.revision)
    twice = Visitor(at_work.store, case.case_id)
    assert "Looked for twice, and not there" in twice.text
    assert "Look once more" not in twice.text


def test_of_a_note_only_the_lines_of_the_description_itself_are_doubted(at_doubt: Visitor) -> None:
    """Found by reading: somebody's own note was taken for one of them, if it only said so in the same words."""
    unsure = QuickDescription("four_wire_zone", "4", reset="not sure", end_relay="not sure")
    lines = [n for n in build_quick_site(unsure)[1] if n in ASSUMED]
    earlier = [line for line in sorted(ASSUMED) if line not in lines]  # as cases of earlier programs have it
    assert (len(lines), len(earlier)) == (2, 1)
    lines += earlier
    own = "The riser is assumed; look at the drawing."
    site = at_doubt.case.site.model_copy(update={"note": "\n".join([own, *lines, "Keys at the desk."])})
    case = at_doubt.store.append_site(at_doubt.case_id, write_site(site), at_doubt.case.revision)
    doubted = Visitor(at_doubt.store, case.case_id)
    assert f"Or what nobody knew is otherwise: {' '.join(lines)} If it is not so, describe" in doubted.text
