"""From the verdict to the closed case on a phone: tests one by one, a reload in the middle, files fetched and read."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import Case, CaseStore, parse_case
from diagnostics.source import read_document
from diagnostics.visit import find_stage
from tests.browser.phone import PHONE, Phone
from tests.browser.test_one_case import read_case
from tests.screens.real_work import describe

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
OWNER = "Mx <b>Owner</b>, by phone"
NOTE = "# spare fitted\nsee <script>alert(1)</script> " + "long " * 380  # some 2000 signs
BUTTONS = "[data-testid=stButton] button, [data-testid=stDownloadButton] button"


def find_low_buttons(hand: Phone) -> list[str]:
    """Return the buttons in sight that are too low for a thumb."""
    boxes = [(b.inner_text(), b.bounding_box()) for b in hand.page.locator(BUTTONS).all()]
    assert len(boxes) > 2
    return [text for text, box in boxes if box and box["height"] < 44]


def fetch(hand: Phone, kind: str, folder: Path) -> str:
    """Tap a download and return what came, kept under the name that it came with."""
    with hand.page.expect_download() as waiting:
        hand.page.locator(f".st-key-file_{kind} button").click()
    waiting.value.save_as(folder / waiting.value.suggested_filename)
    return (folder / waiting.value.suggested_filename).read_text("utf-8")


def at_proof(browser: "Browser", app_url: str, store_url: str) -> Phone:
    """Return a phone at the tests, after a repair of one's own at a described bakery."""
    with CaseStore(store_url) as store:
        case = describe(store)
    hand = Phone(browser, f"{app_url}/?case={case.case_id}&view=repair", PHONE)
    hand.type("What did you put right?", "end resistor fitted")
    hand.tap("work_done")
    hand.page.locator(".st-key-cured button").dblclick()
    hand.wait()
    return hand


def test_visit_ends_with_tests_one_by_one_and_files_that_say_so(
    browser: "Browser", app_url: str, store_url: str, tmp_path: Path
) -> None:
    hand = at_proof(browser, app_url, store_url)
    assert [r.cured for r in read_case(hand, store_url).repairs] == [True]  # two quick taps, one repair
    hand.page.locator(".st-key-test_done_0 button").dblclick()
    hand.wait()
    hand.tap("test_not_1")
    hand.page.get_by_label("Why is it not done?").press_sequentially("nobody at the pa")
    hand.wait()
    hand.reload()
    assert hand.page.get_by_label("Why is it not done?").input_value() == "nobody at the pa"
    assert find_low_buttons(hand) == []
    assert hand.find_overhang_px() <= 0
    hand.tap("test_keep_1")
    hand.reread()
    hand.tap("tests_rest")
    tests = [(r.test, r.at, r.done, r.why) for r in read_case(hand, store_url).tests]
    assert tests == [
        ("functional_test", "det8", True, ""),
        ("reset", "", False, "nobody at the pa"),
        ("head_off_test", "det8", True, ""),
        ("at_rest", "panel", True, ""),
        ("station", "", True, ""),
    ]
    _close(hand)
    _fetch_all(hand, read_case(hand, store_url), tmp_path)
    assert hand.outside == []
    hand.close()


def _close(hand: Phone) -> None:
    hand.tap("left_open")
    hand.type("Volts: red on zone 1 +", "19.2")
    hand.tap("left_keep")
    hand.page.get_by_text("Left impaired", exact=True).click()
    hand.wait()
    hand.tap("close_case")
    assert "If nobody could be reached, write that." in hand.read()
    hand.type("Who has been told?", OWNER)
    hand.type("Your name", "Ada")
    field = hand.page.get_by_label("Note for the next person")
    field.fill(NOTE[:1990])
    field.press("End")
    field.press_sequentially("half a no", delay=120)  # slower than the field is sent
    hand.page.wait_for_timeout(900)  # still in the field
    hand.wait()
    hand.reload()
    assert hand.page.get_by_label("Note for the next person").input_value() == f"{NOTE[:1990]}half a no"
    assert find_low_buttons(hand) == []
    hand.page.locator(".st-key-close_case button").dblclick()
    hand.wait()
    assert "This case is closed" in hand.read()
    assert OWNER in hand.read()
    assert hand.find_overhang_px() <= 0
    assert find_low_buttons(hand) == []


def _fetch_all(hand: Phone, case: Case, folder: Path) -> None:
    """Fetch every file of a closed case, and read it."""
    assert find_stage(case) == "closed"
    files = {kind: fetch(hand, kind, folder) for kind in ("record", "impairment", "card", "case")}
    assert "NOT DONE: nobody at the pa" in files["record"]
    assert "&lt;b&gt;Owner&lt;/b&gt;" in files["record"]
    assert "Protection left impaired" in files["impairment"]
    assert "Values card" in files["card"]
    assert parse_case(read_document(files["case"], "case"), None, text=files["case"]) == case
    day = case.leaving.at.date().isoformat() if case.leaving else ""
    names = ("case", "impairment-notice", "record", "values-card")
    found = sorted(path.name for path in folder.iterdir() if path.is_file() and path.suffix in {".html", ".yaml"})
    assert [name.partition("-corner-bakery")[0] for name in found] == list(names)
    assert all(day in name for name in found)
    _check_page(hand, folder / next(name for name in found if name.startswith("record")))


def _check_page(hand: Phone, path: Path) -> None:
    """Open a fetched page: it fits a phone, runs nothing, and prints in few pages."""
    page = hand.page.context.new_page()
    page.on("dialog", lambda dialog: pytest.fail(f"a script has run: {dialog.message}"))
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    assert page.locator("h1").inner_text() == "Record of a visit"
    assert page.locator("script, img").count() == 0
    pages = page.pdf(format="A4").count(b"/Type /Page\n")
    assert 1 <= pages <= 4
    page.close()


def test_two_tabs_at_the_list_of_tests_lose_nothing(browser: "Browser", app_url: str, store_url: str) -> None:
    hand = at_proof(browser, app_url, store_url)
    other = Phone(browser, hand.page.url, PHONE)
    other.tap("test_not_1")
    other.page.get_by_label("Why is it not done?").press_sequentially("latched again")
    hand.tap("test_done_0")
    other.wait()
    assert other.page.get_by_label("Why is it not done?").input_value() == "latched again"
    other.tap("test_keep_1")
    if other.has("test_keep_1"):  # it was still shown the list as it had been
        assert other.page.get_by_label("Why is it not done?").input_value() == "latched again"
        other.tap("test_keep_1")
    assert [r.test for r in read_case(hand, store_url).tests] == ["functional_test", "reset"]
    for one in (hand, other):
        one.close()
