"""Whole visits in a real browser, each with one hidden fault; the readings are those that the fault would give."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import Case, CaseStore
from diagnostics.readings import Measurement
from diagnostics.reports import Words
from diagnostics.visit import assess_case, simulate_reading
from diagnostics.wiring import Loop
from tests.browser.phone import DESK, PHONE, Phone
from tests.sampling import sample

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
SAFETY = ("real_yes", "outputs_none", "tell_people", "evidence_yes")


def answer(hand: Phone, loop: Loop, hidden: str, m: Measurement) -> None:
    """Give the answer that the hidden fault would give, as a thumb would."""
    text = simulate_reading(loop, hidden, m)
    if m.unit:
        hand.type("What does the meter show?", text)
    elif m.kind == "which_dark" and text != "none":
        for name in text.split(","):
            hand.choose(Words(loop).detector(name))
    else:
        hand.choose("None is dark" if text == "none" else Words(loop).answer(text))


def read_case(hand: Phone, store_url: str) -> Case:
    """Return the case that the URL names, from the store itself."""
    found = re.search(r"case=([\w-]+)", hand.page.url)
    assert found
    with CaseStore(store_url) as store:
        return store.load_case(found[1])


def begin(hand: Phone, site: str = "Corner bakery") -> None:
    """Go from the start to the first measurement of a call at one of the example sites."""
    hand.tap("new_case")
    for key in SAFETY:
        hand.tap(key)
    hand.tap("for_us_yes")
    hand.choose("Example")
    hand.choose_from("Example", site)
    hand.tap("describe_use")
    hand.page.get_by_text("shows trouble on the zone all the time").click()
    hand.wait()
    hand.choose("new work, not yet accepted")
    hand.tap("complaint_use")


VISITS = {
    "end resistor": ("Corner bakery", "end_resistor_missing@end", "Fit the right end resistor"),
    "end resistor, module": (
        "Bench, module with a two-wire loop",
        "end_resistor_missing@end",
        "Fit the right end resistor",
    ),
    "swap, one-way heads": ("one-way heads", "in_out_swapped@det3", "right terminals, at detector 3"),
    "wrong contact": (
        "Bench, module with a two-wire loop",
        "supply_on_no@reset",
        "right terminals, at the reset relay",
    ),
}


def test_missing_end_resistor_is_found_on_a_phone_and_a_reload_loses_nothing(
    browser: "Browser", app_url: str, store_url: str, tmp_path: Path
) -> None:
    hand = Phone(browser, app_url, PHONE)
    hand.picture("1-start", tmp_path)
    assert 2 <= _visit(hand, store_url, VISITS["end resistor"], tmp_path) <= 8
    hand.picture("3-verdict", tmp_path)
    _finish(hand, store_url, tmp_path)
    assert hand.asked > 20
    assert hand.outside == []
    hand.close()


@pytest.mark.parametrize("name", sample(list(VISITS)[1:], 3))
def test_hidden_fault_comes_out_by_its_tell_tale_on_a_phone(
    browser: "Browser", app_url: str, store_url: str, name: str, tmp_path: Path
) -> None:
    hand = Phone(browser, app_url, PHONE)
    assert 2 <= _visit(hand, store_url, VISITS[name], tmp_path / "none") <= 9
    hand.picture(f"9-{name.replace(' ', '-').replace(',', '')}", tmp_path)
    assert hand.outside == []
    hand.close()


def _visit(hand: Phone, store_url: str, told: tuple[str, str, str], folder: Path) -> int:
    """Follow guide and engine step by step to the verdict, reloading once on the way; return the number of steps."""
    site, hidden, verdict = told
    begin(hand, site)
    for step in range(1, 12):
        while hand.has("guide_answer"):
            hand.tap("guide_answer")
        assessment = assess_case(read_case(hand, store_url), guided=True)
        action = assessment.diagnosis.next
        if action is None or action.measurement is None:
            break
        assert hand.find_overhang_px() <= 0
        if folder.exists():
            hand.look_at("Suspects", f"2-suspects-{step}", folder)
        answer(hand, assessment.loop, hidden, action.measurement)
        if folder.exists():
            hand.picture(f"2-step-{step}", folder)
        hand.tap("record")
        assert len(read_case(hand, store_url).readings) == step
        if hand.has("list_none"):
            hand.tap("list_none")
        if step == 2:
            before = hand.read()
            hand.reload()
            assert _without_clock(hand.read()) == _without_clock(before)
    assert verdict in hand.read()
    return step - 1


def _without_clock(text: str) -> str:
    return re.sub(r"\d+ h \d+ min", "", text)


def _finish(hand: Phone, store_url: str, folder: Path) -> None:
    hand.tap("work_done")
    hand.tap("cured")
    assert "Tests after the repair" in hand.read()
    hand.picture("4-tests", folder)
    hand.tap("test_done_0")
    hand.reread()
    hand.tap("tests_rest")
    hand.picture("5-closing", folder)
    hand.close_case()
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
    hand.tap("lead")
    hand.choose("trouble")
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
    hand.tap("lead")
    hand.choose("trouble")
    hand.page.locator(".st-key-record button").dblclick()
    hand.wait()
    assert [r.value for r in read_case(hand, store_url).readings] == ["trouble"]
    read = hand.read()
    assert "Measure DC volts" in read, read
    hand.close()


def test_value_typed_and_recorded_without_leaving_the_field_is_saved(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    hand = Phone(browser, app_url, PHONE)
    begin(hand)
    hand.tap("lead")
    hand.choose("trouble")
    hand.tap("record")
    hand.page.get_by_label("What does the meter show?").press_sequentially("23,2")
    hand.page.locator(".st-key-record button").click()
    hand.wait()
    assert [r.value for r in read_case(hand, store_url).readings] == ["trouble", "23,2"]
    hand.close()
