"""How many phone screens a step takes on a site with two loops on one panel: it is read with one thumb, on a ladder."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from statistics import median
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import Case, CaseStore, build_reading_id
from diagnostics.locate import find_shipped
from diagnostics.visit import assess_case, build_reading, build_suggestion, record_reading, simulate_reading
from tests.browser.phone import PHONE, Phone
from tests.screens.real_work import describe

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
LONGEST, MIDDLE = 2.9, 2.25  # phone screens


def play(store: CaseStore, case: Case, hidden: str) -> Iterator[str]:
    """Yield the kind of each step before it is answered as the hidden fault would; the verdict last."""
    while True:
        assessment = assess_case(case, guided=True)
        action = assessment.diagnosis.next
        m = action.measurement if action else None
        yield m.kind if m else "verdict"
        if m is None:
            return
        text = simulate_reading(assessment.loop, hidden, m)
        reading = replace(build_reading(m, text, build_reading_id()), taken_at=datetime.now(UTC))
        record_reading(store, case, reading, build_suggestion(assessment))
        case = store.load_case(case.case_id)


def test_step_on_two_loops_is_short_and_keeps_question_and_cautions_in_sight(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    heights: dict[str, float] = {}
    with CaseStore(store_url) as store:
        case = describe(store, (find_shipped("cases") / "sites" / "hostel.yaml").read_text("utf-8"))
        for number, kind in enumerate(play(store, case, "end_resistor_missing@end")):
            hand = Phone(browser, f"{app_url}/?case={case.case_id}", PHONE)
            heights[f"{number} {kind}"] = hand.find_height()
            asked = hand.page.get_by_role("heading", level=2).first.bounding_box()
            assert asked
            assert asked["y"] + asked["height"] < PHONE["height"] / 2
            if kind == "look":  # the first time off the floor: the caution stands in full, nothing has to be opened
                assert hand.page.get_by_text("put the phone away, climb").first.is_visible()
            assert hand.page.locator(".st-key-record button, .st-key-work_done button").first.is_visible()
            hand.close()
    assert {"panel_shows", "which_dark", "look", "verdict"} <= {name.split()[1] for name in heights}
    assert max(heights.values()) <= LONGEST, heights
    assert median(heights.values()) <= MIDDLE, heights
