"""The first minute of a call on a phone: few taps to the first measurement, nothing chosen in passing, nothing lost."""

import re
import time
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import CaseStore, Reading
from diagnostics.visit import start_clock
from tests.browser.phone import PHONE, Phone
from tests.browser.test_one_case import SAFETY, read_case

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
MOST_TAPS = 15
TROUBLE = "shows trouble on the zone all the time"


class Counting(Phone):
    """A hand that counts: a tap each for buttons, choices and fields."""

    taps = 0

    def tap(self, key: str) -> None:
        """Press a button, and count it."""
        self.taps += 1
        super().tap(key)

    def choose(self, label: str) -> None:
        """Press a choice, and count it."""
        self.taps += 1
        super().choose(label)

    def type(self, label: str, text: str) -> None:
        """Tap into a field, and count that; typing comes on top."""
        self.taps += 1
        super().type(label, text)

    def pick(self, text: str) -> None:
        """Press a line of a list, and count it."""
        self.taps += 1
        self.page.get_by_text(text).first.click()
        self.wait()


def describe(hand: Counting, count: str) -> None:
    """Go from the start to the complaint of a two-wire loop that nobody knows more of than its detectors."""
    hand.tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        hand.tap(key)
    hand.type("How many detectors are on it?", count)
    hand.tap("describe_use")


def test_first_measurement_takes_few_taps_and_the_complaint_survives_a_reload(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    hand = Counting(browser, app_url, PHONE)
    describe(hand, "8")
    assert hand.page.locator("input[type=radio]:checked").count() == 0
    hand.pick(TROUBLE)
    hand.choose("worked for years")
    hand.reload()
    assert hand.page.locator("input[type=radio]:checked").count() == 1
    hand.tap("complaint_use")
    assert hand.has("record")
    assert hand.taps <= MOST_TAPS
    _check_room(hand)
    case = read_case(hand, store_url)
    assert (case.symptom, case.contexts) == ("constant_trouble", ("aged",))
    hand.close()


def _check_room(hand: Phone) -> None:
    """Hold the first measurement against the screen: short, its answer on the first, two lines of head at most."""
    field = hand.page.locator("[class*=st-key-answer]").first.bounding_box()
    assert field
    edge = hand.page.locator(".st-key-record button").first.bounding_box()
    assert edge
    assert field["y"] + field["height"] <= edge["y"]
    whole_px = hand.page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    assert whole_px <= 2.5 * PHONE["height"]
    head = hand.page.locator(".st-key-page_head").first.bounding_box()
    assert head
    assert head["height"] <= 56


def test_clock_runs_visibly_over_a_reload_and_nothing_yet_waits_for_its_end(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    hand = Counting(browser, app_url, PHONE)
    describe(hand, "4")
    hand.pick("None of these, or not known yet")
    hand.tap("complaint_use")
    case = read_case(hand, store_url)
    with CaseStore(store_url) as store:  # what nobody has changed is read as it stands: there is no clock to start
        start_clock(store, case, "panel_shows|panel|standby")
    hand.reload()
    left = [read_left(hand)]
    time.sleep(2.2)
    left.append(read_left(hand))
    hand.reload()
    left.append(read_left(hand))
    assert left[0] > left[1] >= left[2]
    hand.choose("normal")
    hand.tap("record")
    box = hand.page.locator(".st-key-doubt").first.bounding_box()
    assert box
    assert 0 <= box["y"] < PHONE["height"] - 100
    assert read_case(hand, store_url).readings == ()
    hand.tap("doubt_keep")
    assert [r.value for r in read_case(hand, store_url).readings] == ["normal"]
    hand.close()


def read_left(hand: Phone) -> int:
    """Return the seconds that the clock on the screen still shows."""
    found = re.search(r"Wait (?:(\d+) min)? ?(?:(\d+) s)? more", hand.read())
    assert found
    return 60 * int(found[1] or 0) + int(found[2] or 0)


def test_reading_that_does_not_fit_is_in_view_and_corrected_at_once(
    browser: "Browser", app_url: str, store_url: str
) -> None:
    hand = Counting(browser, app_url, PHONE)
    hand.tap("begin_demo_case")
    for key in (*SAFETY, "lead"):
        hand.tap(key)
    case = read_case(hand, store_url)
    with CaseStore(store_url) as store:
        case = store.append_reading(case.case_id, Reading("panel_shows", "trouble", at="panel"), case.revision)
        for at, value in (("panel.zone1", "23.2"), ("det2.in", "23.2"), ("det8.in", "23.2"), ("det5.in", "3.1")):
            odd = Reading("volts", value, f"{at}+", f"{at}-", mode="standby")
            case = store.append_reading(case.case_id, odd, case.revision)
    hand.reload()
    notice = hand.page.get_by_text("Two readings do not fit together").first.bounding_box()
    assert notice
    assert notice["y"] < PHONE["height"] / 2
    hand.page.locator("[class*=st-key-notice-correct] button").click()
    hand.wait()
    hand.type("What does the meter show?", "23.1")
    hand.tap("record")
    assert "Everything that was read fits together again." in hand.read()
    assert hand.find_overhang_px() <= 0
    hand.tap("undo")
    assert len(read_case(hand, store_url).readings) == 4
    hand.close()
