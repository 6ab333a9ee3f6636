"""What came out at a repair, typed on a phone and at a desk: what it should read stands above, all fits."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import CaseStore
from diagnostics.visit import RepairNote, record_repair
from tests.browser.phone import DESK, PHONE, Phone
from tests.browser.test_every_screen import find_serious
from tests.screens.real_work import describe, mend_joint

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)], ids=["phone-light", "desk-dark"])
def test_what_came_out_is_typed_and_told_and_nothing_is_wider_than_the_screen(
    browser: "Browser",
    app_url: str,
    store_url: str,
    tmp_path: Path,
    size: dict[str, int],
    dark: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    with CaseStore(store_url) as store:
        case_id = mend_joint(store).case_id
    hand = Phone(browser, f"{app_url}/?case={case_id}", size, dark=dark)
    name = "phone" if size is PHONE else "desk"

    def look(what: str) -> None:
        hand.page.locator(".st-key-seen").evaluate("e => e.scrollIntoView({block: 'start'})")
        hand.page.wait_for_timeout(200)
        hand.picture(f"came-out-{what}-{name}", tmp_path)
        assert hand.find_overhang_px() <= 0
        assert hand.find_cut_off() == []

    assert "about 312 Ω (248 Ω to 412 Ω)" in hand.read()
    look("asked")
    hand.unfold("seen")
    look("open")
    hand.type("What it reads", "4,7k")
    hand.tap("out_keep")
    assert "what came out reads 4.70 kΩ" in hand.read()
    look("not")
    hand.page.get_by_text("Keep the part").first.scroll_into_view_if_needed()
    hand.picture(f"came-out-told-{name}", tmp_path)
    assert find_serious(hand) == []
    hand.type("What it reads", "320")
    hand.type("With the leads turned", "322")
    hand.tap("out_keep")
    assert "that fits what was suspected" in hand.read()
    hand.page.locator(".st-key-out_keep").scroll_into_view_if_needed()
    hand.picture(f"came-out-fits-{name}", tmp_path)
    assert hand.outside == []
    hand.close()


def test_a_choice_of_several_lines_lies_within_its_outline(
    browser: "Browser", app_url: str, store_url: str, tmp_path: Path
) -> None:
    note = RepairNote(("conductor_open@det5.in+", "conductor_open@det5.in-"))
    with CaseStore(store_url) as store:
        case = record_repair(store, describe(store), "mend_conductor@run det5", cured=True, note=note)
    hand = Phone(browser, f"{app_url}/?case={case.case_id}", PHONE)
    hand.picture("seen-which-phone", tmp_path)
    choices = hand.page.locator(".st-key-seen [role=radio]")
    corners = "e => [parseFloat(getComputedStyle(e).borderTopLeftRadius), e.clientHeight]"
    told = [choice.evaluate(corners) for choice in choices.all()]
    assert max(height for _, height in told) > 60  # one of them at least takes several lines
    assert max(radius for radius, _ in told) <= 22  # a corner rounder than that cuts into the letters
    hand.close()
