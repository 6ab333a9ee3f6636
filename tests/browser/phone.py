"""A hand that taps: one page of the app in a real browser, what it asks for outside, and pictures of it."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, WebSocket

PHONE = {"width": 390, "height": 844}
PATIENCE_MS = 20_000
_LOOK_MS = 100
_QUIET_LOOKS = 4  # longer than a field waits that is sent while it is typed
_MORE_LOOKS = 15  # two quick taps, one screen: it holds both, or there is one more to come
DESK = {"width": 1280, "height": 800}
_IDLE = "document.querySelector('[data-testid=stApp]')?.getAttribute('data-test-script-state') === 'notRunning'"
_CUT_OFF = """() => [...document.querySelectorAll('[data-testid=stApp] *')].filter(e => {
  const style = getComputedStyle(e);
  return e.clientWidth > 2 && e.children.length < 4 && (e.innerText || '').trim() && e.scrollWidth > e.clientWidth + 2
    && (style.overflowX === 'hidden' || style.textOverflow === 'ellipsis');
}).map(e => e.innerText.slice(0, 80))"""
_BREADTH = "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"


class Phone:
    """One browser page; ``outside`` lists every address beyond this machine that was asked for."""

    def __init__(self, browser: "Browser", url: str, size: dict[str, int], *, dark: bool = False) -> None:
        """Open the app; touch only where the screen is a phone's."""
        small = size["width"] < 500
        self._context = browser.new_context(
            viewport={"width": size["width"], "height": size["height"]},
            device_scale_factor=2 if small else 1,
            is_mobile=small,
            has_touch=small,
            color_scheme="dark" if dark else "light",
        )
        self.page: Page = self._context.new_page()
        self.outside: list[str] = []
        self.asked = 0
        self._owed = False  # a screen was asked for and has not come yet
        self._taps = self._screens = 0
        self._sent = 0  # how often the page has asked for a screen, clocks apart
        self._frames = 0
        self._ticking = False  # a clock on the screen goes on by itself: that is neither a tap nor its answer
        self.page.on("request", lambda request: self._note(request.url))
        self.page.on("websocket", self._listen)
        self.page.goto(url)
        self.wait()

    def _note(self, url: str) -> None:
        self.asked += 1
        if not url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:")):
            self.outside.append(url)

    def _listen(self, socket: "WebSocket") -> None:
        """Follow what page and app say to each other: time alone does not tell whether a busy machine is done."""
        self._note(socket.url)
        self._owed = True  # a new page asks at once
        self._taps = self._screens = 0  # what the page before had asked for is never answered
        self._ticking = False
        socket.on("framesent", self._hear_page)
        socket.on("framereceived", self._hear_app)

    def _hear_page(self, frame: str | bytes) -> None:
        if isinstance(frame, bytes) and (said := BackMsg.FromString(frame)).WhichOneof("type") == "rerun_script":
            self._ticking = said.rerun_script.is_auto_rerun
            self._owed |= not self._ticking
            self._taps += not self._ticking
            self._sent += not self._ticking
        self._frames += not self._ticking

    def _hear_app(self, frame: str | bytes) -> None:
        said = ForwardMsg.FromString(frame) if isinstance(frame, bytes) else ForwardMsg()
        if said.WhichOneof("type") == "session_status_changed":
            return  # said beside every screen and every tick, and shows nothing
        self._frames += not self._ticking
        if said.WhichOneof("type") != "script_finished":
            return
        early = said.script_finished == ForwardMsg.FINISHED_EARLY_FOR_RERUN
        if said.script_finished != ForwardMsg.FINISHED_FRAGMENT_RUN_SUCCESSFULLY and not (early and self._ticking):
            self._owed = early
            self._screens += not early
        self._ticking &= early

    def wait(self) -> None:
        """Wait until the app owes no screen, nothing more is said, and the page has drawn what it has to draw."""
        self.page.wait_for_selector("[data-testid=stApp]")
        quiet, heard = 0, self._frames
        for _ in range(PATIENCE_MS // _LOOK_MS):
            self.page.wait_for_timeout(_LOOK_MS)
            calm = not self._owed and heard == self._frames and (self._ticking or bool(self.page.evaluate(_IDLE)))
            quiet, heard = quiet + 1 if calm else 0, self._frames
            if quiet >= (_QUIET_LOOKS if self._screens >= self._taps else _MORE_LOOKS):
                self._taps = self._screens = 0
                return
        raise AssertionError(f"the app was not done after {PATIENCE_MS / 1000:g} s:\n{self.read()}")

    def tap(self, key: str) -> None:
        """Press the button of this key; again where the page moved under the finger, so that nothing was asked."""
        from playwright.sync_api import Error as BrowserError

        button, sent = self.page.locator(f".st-key-{key} button").first, self._sent
        for _ in range(2):
            try:
                button.click(timeout=PATIENCE_MS)
            except BrowserError as error:
                raise AssertionError(f"no button {key} on this screen:\n{self.read()}") from error
            self.wait()
            if self._sent > sent:
                return
        raise AssertionError(f"twice pressed, {key} asks the app for nothing:\n{self.read()}")

    def has(self, key: str) -> bool:
        """Return whether there is a button of this key."""
        return self.page.locator(f".st-key-{key} button").count() > 0

    def choose(self, label: str) -> None:
        """Press the choice that reads so."""
        self.page.locator("[data-testid=stButtonGroup]").get_by_text(label, exact=True).first.click()
        self.wait()

    def choose_from(self, label: str, text: str) -> None:
        """Choose from the list of this label the first entry that has a text in it."""
        self.page.get_by_role("combobox", name=label).first.fill(text)
        self.page.get_by_role("option").filter(has_text=text).first.click()
        self.wait()

    def type(self, label: str, text: str) -> None:
        """Type into the field of this label."""
        self.page.get_by_label(label).first.fill(text)
        self.page.keyboard.press("Tab")
        self.wait()

    def reread(self, text: str = "19.1 V") -> None:
        """Type what the volts of the list after a repair read now, and record them."""
        self.unfold("tests_last")
        while (fields := self.page.locator("[class*=st-key-reread_] input")).count():
            fields.first.fill(text)
            self.page.keyboard.press("Tab")
            self.wait()
            before = fields.count()
            self.page.locator("[class*=st-key-test_record_] button").first.click()
            self.wait()
            self.unfold("tests_last")
            assert fields.count() < before, self.read()

    def unfold(self, key: str) -> None:
        """Open what is folded away under this key, if it is there and closed."""
        box = self.page.locator(f".st-key-{key} details:not([open]) > summary")
        if box.count():
            box.first.click()
            self.page.wait_for_timeout(400)

    def close_case(self) -> None:
        """Say who was told and by whom, and close the case."""
        self.type("Who has been told?", "the owner")
        self.type("Your name", "Ada")
        self.tap("close_case")

    def read(self) -> str:
        """Return everything that can be read on the page now, all spaces alike."""
        return self.page.locator("[data-testid=stApp]").inner_text().replace("\u00a0", " ")

    def reload(self) -> None:
        """Reload the page, as a phone does that was put away."""
        self.page.reload()
        self.wait()

    def find_overhang_px(self) -> int:
        """Return by how many px the page is wider than the screen."""
        whole, seen = self.page.evaluate(_BREADTH)
        return int(whole - seen)

    def find_cut_off(self) -> list[str]:
        """Return the texts that do not fit where they stand; what is only there for those who listen is left out."""
        return [str(text) for text in self.page.evaluate(_CUT_OFF)]

    def find_height(self) -> float:
        """Return how many screens high the page is."""
        height = self.page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        size = self.page.viewport_size
        assert size is not None
        return float(height / size["height"])

    def picture(self, name: str, folder: Path) -> None:
        """Keep a picture of the screen; in OHMWARD_PICTURES when that is set."""
        chosen = Path(os.environ.get("OHMWARD_PICTURES", "") or folder)
        self.page.screenshot(path=chosen / f"{name}.png")
        agent = str(self.page.evaluate("navigator.userAgent"))
        (chosen / "browser.txt").write_text(f"{agent}\n{self.page.viewport_size}\n", "utf-8")

    def look_at(self, heading: str, name: str, folder: Path) -> None:
        """Keep a picture with a heading at the upper edge, then go back to the top."""
        scroll = "(e) => e.scrollIntoView({block: 'start'})"
        self.page.get_by_role("heading", name=heading).first.evaluate(scroll)
        self.page.wait_for_timeout(200)
        self.picture(name, folder)
        self.page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")

    def close(self) -> None:
        """Close the page."""
        self._context.close()
