"""Every screen looked at by axe, at both sizes, one light and one dark; and nothing wider than the screen."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from diagnostics.cases import CaseStore
from tests.browser.phone import DESK, PHONE, Phone
from tests.sampling import in_ci
from tests.screens.real_work import OWN, build_restored, describe

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser
SIZES = {"phone": PHONE, "desk": DESK}


def find_serious(hand: Phone) -> list[str]:
    """Return what axe finds serious or critical on the screen in hand."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(hand.page)
    return [
        f"{v['id']}: {n['html'][:140]} {n['failureSummary'][:160]}"
        for v in found.response["violations"]
        if v["impact"] in {"serious", "critical"}
        for n in v["nodes"]
    ]


# Colours do not depend on the size: each size is looked at once, and each set of colours.
@pytest.mark.parametrize(("size", "dark"), [("phone", False), ("desk", True)], ids=["phone-light", "desk-dark"])
def test_axe_finds_nothing_serious_on_any_screen(
    browser: "Browser",
    app_url: str,
    store_url: str,
    tmp_path: Path,
    size: str,
    dark: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    hand = Phone(browser, app_url, SIZES[size], dark=dark)
    seen: dict[str, list[str]] = {}
    first = 2 * int(dark)  # in CI axe looks at every fourth screen: some of the phone, those between at the desk

    def look(name: str) -> None:
        assert hand.find_overhang_px() <= 0, name
        assert hand.find_cut_off() == [], name
        hand.picture(f"screen-{name}-{size}-{'dark' if dark else 'light'}", tmp_path)
        seen[name] = find_serious(hand) if len(seen) % 4 == first or not in_ci() else []

    _walk(hand, look)
    if size == "phone":
        _walk_readings_as_left(hand, look, app_url, store_url)
    assert len(seen) == {"desk": 33, "phone": 38}[size]
    assert {name: poor for name, poor in seen.items() if poor} == {}
    assert hand.outside == []
    hand.close()


def _walk(hand: Phone, look: Callable[[str], None]) -> None:
    look("start")
    hand.tap("plant")
    look("plant")
    hand.tap("all_cases")
    hand.tap("new_case")
    look("is_it_real")
    hand.tap("real_no")
    look("everyone_out")
    hand.tap("real_back")
    hand.tap("real_yes")
    look("outputs")
    hand.tap("outputs_release")
    look("release")
    hand.tap("release_back")
    hand.tap("outputs_none")
    look("tell_people")
    hand.tap("tell_people")
    look("evidence_first")
    hand.tap("evidence_yes")
    look("for_us")
    hand.tap("for_us_no")
    look("not_for_us")
    hand.tap("not_for_us_back")
    hand.tap("for_us_yes")
    _walk_description(hand, look)
    _walk_work(hand, look)
    _walk_end(hand, look)


def _walk_description(hand: Phone, look: Callable[[str], None]) -> None:
    look("describe")
    hand.choose("Site file")
    look("describe_file")
    hand.choose("Questions")
    hand.type("How many detectors are on it?", "6")
    hand.tap("describe_use")
    look("complaint")
    hand.tap("complaint_use")
    look("complaint_refused")
    hand.tap("all_cases")
    hand.tap("begin_demo_module")
    for key in ("real_yes", "outputs_none", "tell_people", "evidence_yes"):
        hand.tap(key)


def _walk_work(hand: Phone, look: Callable[[str], None]) -> None:
    look("guide")
    hand.tap("lead")
    look("work")
    hand.tap("record")
    look("work_refused")
    hand.type("What does the meter show?", "240")
    look("work_understood")
    hand.tap("record")
    look("doubt")
    hand.tap("take_again")
    hand.tap("cannot")
    look("cannot")
    hand.tap("back_to_next")
    hand.tap("something_else")
    look("other")
    hand.tap("other_show")
    look("form")
    hand.page.get_by_text("The complaint is not there").click()
    hand.wait()
    look("absent")
    hand.tap("back_to_next")
    hand.tap("to_repair")
    look("own_repair")
    hand.tap("own_repair_back")
    while hand.has("record"):
        hand.page.get_by_role("button", name="Fill in what is there").click()
        hand.wait()
        hand.tap("record")


def _walk_verdict(hand: Phone, look: Callable[[str], None]) -> None:
    look("verdict")
    assert hand.find_height() <= 3.0
    hand.page.get_by_text("Suspects", exact=True).click()
    hand.wait()
    hand.tap("timeline")
    look("timeline")
    hand.tap("timeline_back")
    hand.tap("work_done")
    hand.tap("other_now")
    look("other_now")
    hand.tap("now_back")


def _walk_end(hand: Phone, look: Callable[[str], None]) -> None:
    _walk_verdict(hand, look)
    hand.tap("cured")
    look("proof")
    hand.tap("test_done_0")
    hand.tap("test_done_2")
    hand.tap("test_not_1")
    hand.tap("test_keep_1")
    look("proof_refused")
    hand.type("Why is it not done?", "no tester here")
    hand.tap("test_keep_1")
    hand.reread()
    hand.tap("tests_rest")
    look("closing")
    hand.page.get_by_text("Left impaired", exact=True).click()
    hand.wait()
    hand.tap("close_case")
    look("closing_refused")
    hand.close_case()
    look("closed")
    hand.tap("to_start")
    look("start_with_cases")


def _walk_readings_as_left(hand: Phone, look: Callable[[str], None], url: str, store_url: str) -> None:
    """Go through what an invented case does not have: readings as left, and the question at the next visit."""
    with CaseStore(store_url) as store:
        first, second = build_restored(store, OWN), describe(store, OWN)
    hand.page.goto(f"{url}/?case={first.case_id}&view=as_left")
    hand.wait()
    hand.type("Volts: red on zone 1 +", "12.1")
    look("as_left")
    hand.type("Volts: red on zone 1 +", "19.2")
    hand.tap("left_keep")
    look("closing_as_left")
    hand.close_case()
    look("closed_as_left")
    hand.page.goto(f"{url}/?case={second.case_id}")
    hand.wait()
    look("baseline")
    hand.tap("baseline_same")
    hand.page.get_by_text("As left at an earlier visit").click()
    hand.page.get_by_text("The complaint, the loop, the record").click()
    hand.wait()
    look("work_with_baseline")
