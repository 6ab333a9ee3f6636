"""Words of printed pages: each that is asked for is there, and each that is there is used."""

import re
from pathlib import Path

import pytest

from diagnostics.cases import OUTCOMES
from diagnostics.reports.card import Card, build_card
from diagnostics.reports.page import read_pages
from diagnostics.wiring import build_loop, read_site

ROOT = Path(__file__).parents[2]
SOURCE = "\n".join(
    (ROOT / "diagnostics" / "reports" / f"{name}.py").read_text("utf-8")
    for name in ("record", "record_words", "standing", "impairment", "card_page", "page")
)
PAGES = read_pages()
SITES = sorted((ROOT / "cases" / "sites").glob("*.yaml"))
# Keys that come as data: conditions and waits of the card, tests and outcomes of the record.
DATA = {
    *OUTCOMES, "functional_test", "head_off_test", "reset", "at_rest", "station", "recheck", "both_sides", "all_lit",
    "all_report", "touched", "met", "farthest", "kind",
    "present", "absent", "normal", "open", "open_end", "open_start", "short", "alarm", "alarm_first", "alarm_last",
    "lifted", "lifted_supply_on", "trouble_delay", "alarm_delay", "panel_shows", "head_off", "known_resistor", "lamp",
}  # fmt: skip


@pytest.mark.parametrize("part", ["page", "record", "impairment", "card"])
def test_every_word_of_a_page_is_used(part: str) -> None:
    asked = set(re.findall(r"""["']([a-z_]+)["']""", SOURCE)) | DATA
    assert set(getattr(PAGES, part)) - asked == set()


def test_every_word_that_is_asked_for_is_there() -> None:
    known = {key for part in ("page", "record", "impairment", "card") for key in getattr(PAGES, part)}
    asked = set(re.findall(r"""\bphrase\(\s*["']([a-z_]+)["']""", SOURCE))
    assert len(asked) > 30
    assert asked - known == set()


@pytest.mark.parametrize("path", SITES, ids=lambda p: p.stem)
def test_what_the_card_names_has_words(path: Path) -> None:
    card: Card = build_card(build_loop(read_site(path)))
    named = {row.condition for pair in card.pairs for row in pair.rows} | {what for what, _ in card.settling}
    named |= {pair.lifted for pair in card.pairs}
    assert named <= set(PAGES.card)
