"""How long a person waits in a real browser: for the first suggestion once the complaint is told, then for the next.

Never a test: machines differ and are busy. Run it on a quiet machine: ``python -m tests.browser.measure_waits``. With
``--cold`` the case is one that was told before, opened by an app that has not seen its loop.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from diagnostics.cases import Acknowledgement, Case, CaseStore, write_site
from diagnostics.faults import list_faults
from diagnostics.reports import tell_symptom
from diagnostics.visit import SAFETY
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site
from tests.browser.conftest import ROOT, find_free_port, wait_for
from tests.browser.phone import PHONE, Phone

if TYPE_CHECKING:
    from playwright.sync_api import Browser

STYLES = ("two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire")
MOST_READINGS = 6
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")
# Taps a button by its key and tells after how many ms another question, or the verdict, stands on the page.
_TAP = """(key) => new Promise((tell, fail) => {
  const read = () => document.querySelector('[data-testid=stMain] h2')?.innerText || '';
  const before = read(), begun = performance.now();
  const look = () => {
    if (read() && read() !== before) requestAnimationFrame(() => tell(performance.now() - begun));
    else if (performance.now() - begun > 60000) fail('nothing new after 60 s');
    else requestAnimationFrame(look);
  };
  document.querySelector(`.st-key-${key} button`).click();
  look();
})"""


@dataclass(frozen=True, slots=True)
class Wait:
    """Waits on one loop: seconds until the first question stands, and from each reading to what comes next.

    The first is counted from the tap that tells the complaint; of a *cold* case, from its address to its question.
    """

    style: str
    detectors: int
    thinking_s: float
    first_s: float
    next_s: tuple[float, ...]


def build_case(style: str, detectors: int, *, told: bool) -> Case:
    """Return an invented case with a conductor open half way, safe and described, its complaint ``told`` or not yet."""
    answers = QuickDescription(style, str(detectors), "4.7k", "18 AWG", "10 m", end_relay="yes")
    site = build_quick_site(answers)[0]
    opens = [f for f in list_faults(build_loop(site)) if f.kind == "conductor_open"]
    marks = (*SAFETY, "for_us", "described", f"invented {opens[len(opens) // 2].text}")
    marks += ("complaint_told",) if told else ()
    given = tuple(Acknowledgement(str(name), datetime.now(UTC)) for name in marks)
    symptom = "constant_trouble" if told else ""
    return Case(site, write_site(site), contexts=("new",), symptom=symptom, acknowledged=given)


def measure(
    browser: "Browser", where: tuple[str, str], loop: tuple[str, int], thinking_s: float, *, cold: bool
) -> Wait:
    """Return the waits of one visit; between a suggestion and its answer the person thinks for so long.

    ``where`` are the app's address and its store's, ``loop`` style and number of detectors.
    """
    (url, store_url), (style, detectors) = where, loop
    with CaseStore(store_url) as store:
        case_id = store.create_case(build_case(style, detectors, told=cold)).case_id
    begun = time.perf_counter()
    hand = Phone(browser, f"{url}/?case={case_id}", PHONE)
    if cold:
        hand.page.wait_for_selector("[data-testid=stMain] h2", timeout=60_000)
        first_s = time.perf_counter() - begun
    else:
        hand.wait()
        hand.page.get_by_text(tell_symptom("constant_trouble"), exact=True).first.click()
        hand.wait()
        time.sleep(thinking_s)
        first_s = float(hand.page.evaluate(_TAP, "complaint_use")) / 1000
    waits = list[float]()
    hand.wait()
    while len(waits) < MOST_READINGS and not hand.has("work_done"):
        if hand.has("guide_answer"):
            hand.tap("guide_answer")
            continue
        time.sleep(thinking_s)
        hand.page.get_by_role("button", name="Fill in what is there").click()
        hand.wait()
        waits.append(float(hand.page.evaluate(_TAP, "record")) / 1000)
        hand.wait()
    hand.close()
    return Wait(style, detectors, thinking_s, first_s, tuple(waits))


def main() -> int:
    """Start the app with a store of its own, measure, print one line a loop."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--detectors", type=int, default=20)
    parser.add_argument("--thinking", type=float, default=4.0, metavar="SECONDS", help="between question and answer")
    parser.add_argument("--cold", action="store_true", help="a case told before, its loop not seen by this app")
    parser.add_argument("--chromium", default="/usr/bin/chromium")
    options = parser.parse_args()
    port = find_free_port()
    command = [sys.executable, "-m", "diagnostics.cli.main", "app", "--port", str(port), "--headless"]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        store_url = f"sqlite:///{Path(folder) / 'cases.sqlite3'}"
        environment = {**os.environ, "OHMWARD_STORE": store_url, "PYTHONPATH": str(ROOT)}
        app = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)
        try:
            url = f"http://127.0.0.1:{port}"
            wait_for(url, app)
            browser = driver.chromium.launch(executable_path=options.chromium, args=list(FLAGS))
            for style in STYLES:
                found = measure(
                    browser, (url, store_url), (style, options.detectors), options.thinking, cold=options.cold
                )
                told = ", ".join(f"{s:.2f}" for s in found.next_s)
                size = f"{style}, {found.detectors} detectors, {found.thinking_s:g} s to think"
                sys.stdout.write(f"{size}: first question {found.first_s:.1f} s; reading to next drawn {told} s\n")
                sys.stdout.flush()
            browser.close()
        finally:
            app.terminate()
            app.wait(20)
    return 0


if __name__ == "__main__":
    sys.exit(main())
