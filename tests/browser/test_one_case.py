"""One whole visit in a real browser: an invented bakery lacks its end resistor; the readings come from ``predict``."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import Case, CaseStore
from diagnostics.circuit import parse_mode
from diagnostics.faults import parse_faults
from diagnostics.readings import Measurement, predict_mode
from diagnostics.units import format_quantity
from diagnostics.visit import assess_case
from diagnostics.wiring import Loop
from tests.browser.phone import DESK, PHONE, Phone

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
HIDDEN = "end_resistor_missing@end"
SAFETY = ("real_yes", "outputs_none", "tell_people", "evidence_yes")


def find_answer(loop: Loop, m: Measurement) -> str:
    """Return what a technician would find, worked out by ``predict`` in the mode of the measurement."""
    found = predict_mode(loop, parse_faults(HIDDEN, loop), parse_mode(m.mode.text, loop))
    if m.unit:
        value = next(r.value for r in found.readings if (r.measurement.red, r.measurement.black) == (m.red, m.black))
        return format_quantity(value, m.unit, 4)
    if m.kind == "which_dark":
        dark = [name for name, state in found.states.items() if state == "dark"]
        return ",".join(dark) or "none"
    if m.kind == "panel_shows":
        return str(found.panel["zone1"])
    pytest.fail(f"the visit took a turn that this test cannot answer: {m.key}")


def answer(hand: Phone, m: Measurement, text: str) -> None:
    """Give an answer as a thumb would."""
    if m.unit:
        hand.type("What does the meter show?", text)
    else:
        hand.choose("None is dark" if text == "none" else text)


def read_case(hand: Phone, store_url: str) -> Case:
    """Return the case that the URL names, from the store itself."""
    found = re.search(r"case=([\w-]+)", hand.page.url)
    assert found
    with CaseStore(store_url) as store:
        return store.load_case(found[1])


def begin(hand: Phone) -> None:
    """Go from the start to the first measurement of a call at the bakery."""
    hand.tap("new_case")
    for key in SAFETY:
        hand.tap(key)
    hand.tap("for_us_yes")
    hand.choose("An example")
    hand.page.get_by_text("Corner bakery").first.click()
    hand.wait()
    hand.tap("describe_use")
    hand.choose("new work, not yet accepted")
    hand.tap("complaint_use")


def test_missing_end_resistor_is_found_on_a_phone_and_a_reload_loses_nothing(
    browser: "Browser", app_url: str, store_url: str, tmp_path: Path
) -> None:
    hand = Phone(browser, app_url, PHONE)
    hand.picture("1-start", tmp_path)
    begin(hand)
    steps = 0
    while "What does" in hand.read() or "Which" in hand.read() or "Measure" in hand.read():
        assessment = assess_case(read_case(hand, store_url))
        action = assessment.diagnosis.next
        if action is None or action.measurement is None:
            break
        steps += 1
        assert hand.find_overhang_px() <= 0
        hand.look_at("Suspects", f"2-suspects-{steps}", tmp_path)
        answer(hand, action.measurement, find_answer(assessment.loop, action.measurement))
        hand.picture(f"2-step-{steps}", tmp_path)
        hand.tap("record")
        assert len(read_case(hand, store_url).readings) == steps
        if steps == 2:
            before = hand.read()
            hand.reload()
            assert _without_clock(hand.read()) == _without_clock(before)
    assert 2 <= steps <= 8
    assert "Fit the right end resistor" in hand.read()
    hand.picture("3-verdict", tmp_path)
    _finish(hand, store_url, tmp_path)
    assert hand.asked > 20
    assert hand.outside == []
    hand.close()


def _without_clock(text: str) -> str:
    return re.sub(r"\(\d+ h \d+ min left\)", "", text)


def _finish(hand: Phone, store_url: str, folder: Path) -> None:
    hand.tap("cured")
    assert "Tests after the repair" in hand.read()
    hand.picture("4-tests", folder)
    hand.tap("proof_done")
    hand.picture("5-closing", folder)
    hand.tap("close_case")
    assert "This case is closed" in hand.read()
    case = read_case(hand, store_url)
    assert case.closing == "mended"
    assert [(r.fault, r.cured) for r in case.repairs] == [("fit_end_resistor@end", True)]


def test_start_and_first_step_stand_side_by_side_on_a_desk(browser: "Browser", app_url: str, tmp_path: Path) -> None:
    hand = Phone(browser, app_url, DESK)
    begin(hand)
    ask = hand.page.get_by_role("heading", level=2).first.bounding_box()
    suspects = hand.page.get_by_role("heading", name="Suspects").first.bounding_box()
    assert ask
    assert suspects
    assert suspects["x"] > ask["x"] + 300
    assert hand.find_overhang_px() <= 0
    hand.picture("6-desk", tmp_path)
    assert hand.outside == []
    hand.close()


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_letters_stand_out_in_light_and_in_dark(
    browser: "Browser",
    app_url: str,
    tmp_path: Path,
    dark: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    hand = Phone(browser, app_url, PHONE, dark=dark)
    poor = _find_poor_contrast(hand)
    begin(hand)
    hand.picture("7-dark" if dark else "7-light", tmp_path)
    poor += _find_poor_contrast(hand)
    for choice in ("trouble", "None is dark"):
        hand.choose(choice)
        hand.tap("record")
    for typed in ("abc", "23.2"):  # a warning, then what was understood
        hand.type("What does the meter show?", typed)
        poor += _find_poor_contrast(hand)
    assert poor == []
    hand.close()


def _find_poor_contrast(hand: Phone) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(hand.page, options={"runOnly": ["color-contrast", "button-name", "image-alt", "label"]})
    return [
        f"{v['id']}: {n['html'][:160]} {n['failureSummary'][:200]}"
        for v in found.response["violations"]
        for n in v["nodes"]
    ]


def test_stop_stands_out_and_leads_no_further(browser: "Browser", app_url: str, tmp_path: Path) -> None:
    hand = Phone(browser, app_url, PHONE)
    hand.tap("new_case")
    hand.tap("real_no")
    assert "Everyone out" in hand.read()
    assert hand.page.locator(".st-key-real_yes button").count() == 0
    assert _find_poor_contrast(hand) == []
    hand.picture("8-stop", tmp_path)
    hand.close()


def test_every_button_on_the_first_step_is_high_enough_for_a_thumb(browser: "Browser", app_url: str) -> None:
    hand = Phone(browser, app_url, PHONE)
    begin(hand)
    boxes = [b.bounding_box() for b in hand.page.locator("[data-testid=stButton] button").all()]
    heights = [box["height"] for box in boxes if box]
    assert len(heights) > 5
    assert min(heights) >= 44
    hand.close()


def test_two_quick_taps_on_record_save_one_reading(browser: "Browser", app_url: str, store_url: str) -> None:
    hand = Phone(browser, app_url, PHONE)
    begin(hand)
    hand.choose("trouble")
    hand.page.locator(".st-key-record button").dblclick()
    hand.wait()
    assert [r.value for r in read_case(hand, store_url).readings] == ["trouble"]
    assert "Walk the loop" in hand.read()
    hand.close()


def test_value_typed_and_recorded_without_leaving_the_field_is_saved(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    hand = Phone(browser, app_url, PHONE)
    begin(hand)
    for choice in ("trouble", "None is dark"):
        hand.choose(choice)
        hand.tap("record")
    hand.page.get_by_label("What does the meter show?").press_sequentially("23,2")
    hand.page.locator(".st-key-record button").click()
    hand.wait()
    assert [r.value for r in read_case(hand, store_url).readings] == ["trouble", "none", "23,2"]
    hand.close()
