"""Invented cases: one is told what one is called to, and sees at the end what was hidden."""

import pytest

from diagnostics.visit import count_own_way, find_model_way
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.test_work import DARK, at_verdict, at_walk


@pytest.mark.parametrize(
    ("demo", "told"),
    [
        ("begin_demo_case", "Corner bakery, new wing (invented). Two-wire, 8 detectors. The complaint:"),
        ("begin_demo_loops", "Four-wire, 3 detectors, zone 2: detector 5 (landing) – detector 7 (west dormitory)."),
    ],
)
def test_introduction_says_site_loop_and_complaint_until_something_is_read(
    visitor: Visitor, demo: str, told: str
) -> None:
    visitor.tap(demo)
    for key in SAFETY:
        text = visitor.text.replace("**", "")
        assert told in text
        assert "The panel shows trouble on the zone all the time" in text
        visitor.tap(key)
    visitor.tap("lead").tap("use ").tap("record")
    assert told not in visitor.text.replace("**", "")


def test_hidden_fault_is_shown_beside_what_was_put_right_once_the_case_is_closed(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("cured")
    assert "What was hidden" not in at_work.text
    at_work.tap("test_done_0").reread().tap("tests_rest").close()
    assert "Hidden: End resistor missing at the far end" in at_work.text.replace("**", "")
    text = at_work.text.replace("**", "")
    assert "Put right: Fit the right end resistor (4.70 kΩ by this description)" in text
    own, model = count_own_way(at_work.case), find_model_way(at_work.case)
    assert f"You: readings: {own.readings}, with their repairs about {own.minutes:.0f} min." in text
    assert f"The model, told the complaint alone: readings: {model.readings}, " in text
    assert own.mended
    assert model.mended
    assert "Repairs of what was sound" not in text


def test_button_for_none_says_what_it_records(at_work: Visitor) -> None:
    at_walk(at_work).choose(DARK, "none")
    assert [b.label for b in at_work.at.button if b.key == "record"] == ["Record: none is dark"]
