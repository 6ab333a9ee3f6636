"""The record of a case holds all of it, and nothing that a person typed is ever more than text."""

import re
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta, timezone
from html.parser import HTMLParser

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.cases import (
    CLOSINGS,
    Acknowledgement,
    Baseline,
    Case,
    GuideAnswer,
    Leaving,
    ProofResult,
    Reading,
    Repair,
    Retraction,
    SiteRevision,
    Suggestion,
    Understood,
    parse_site_text,
    write_site,
)
from diagnostics.errors import CaseError
from diagnostics.reports import render_card, render_impairment, render_record
from diagnostics.reports.page import put
from diagnostics.wiring.site import DetectorSpec
from tests.cases.invented import SITE_TEXT, START, build_invented_case

VOLTS = Reading(
    "volts", "23,9", "panel.zone1+", "panel.zone1-", taken_at=START, by="Kim", understood=Understood(23.9, "V")
)
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; DROP TABLE x; --",
    "</style></head><body onload=alert(1)>",
    "&lt;b&gt; &amp; <b>",
    "\u202egnirts\u2066",
    "\x00\x1b[2J\x85",
    "<!-- <![CDATA[ ]]> -->",
    "{count} {0} %s ${x}",
    "javascript:alert(1)",
    "<a href='https://example.org/'>x</a>",
    "https://example.org/x.png",
)
ALLOWED = {
    "html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "ul", "li", "dl", "dt", "dd", "div", "table",
    "thead", "tbody", "tr", "th", "td", "bdi", "br", "strong", "section",
}  # fmt: skip


class _Reader(HTMLParser):
    """Gathers the elements, their attributes, and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.names: set[str] = set()
        self.attributes: set[str] = set()
        self.open: list[str] = []
        self.text: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.attributes |= {name for name, _ in attrs}
        if tag not in {"br", "meta"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text.append(data)


def check_page(page: str) -> str:
    """Hold a page against what every page must be; return its text."""
    reader = _Reader(page)
    assert reader.names <= ALLOWED
    assert reader.attributes <= {"charset", "name", "content", "http-equiv", "class", "scope", "lang"}
    assert not reader.open
    assert "default-src 'none'" in page
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", page)
    return " ".join(" ".join(reader.text).split())


def build_full_case(text: str = "as told", closing: str = "mended") -> Case:
    """Return an invented case in which every part of the record says something."""
    case = build_invented_case()
    detectors = tuple(DetectorSpec(room=text[:120]) for _ in range(5))
    loops = (case.site.loops[0].model_copy(update={"count": None, "detectors": detectors}),)
    site = case.site.model_copy(update={"name": (text or "x")[:120], "note": text[:2000], "loops": loops})
    at = START + timedelta(minutes=30)
    retracted = Reading("lamp", text or "lit", at="det4", taken_at=START, by=text)
    return replace(
        case,
        site=site,
        site_text=write_site(site),
        case_id="k3m9-7tqp-x2wd",
        notes=text,
        readings=(
            replace(VOLTS, by=text),
            Reading("head_off", "trouble", at="det3", mode="head_off:det3", taken_at=at, by=text, site_revision=2),
            Reading("telepathy", text, at=text, taken_at=at, site_revision=2),
        ),
        retracted=(Retraction(retracted, at, text, VOLTS.reading_id),),
        repairs=(
            Repair(text, START, cured=False, found=text, suspected=(text,), saw="other", own_words=text),
            Repair(f"join_conductor@run det2 {text}", at, cured=True, by=text),
        ),
        tests=(ProofResult("station", False, at, "", text), ProofResult("reset", True, at, "", "", text)),  # noqa: FBT003
        acknowledged=(Acknowledgement("is_it_real", START), Acknowledgement(text or "x", START)),
        suggestions=(Suggestion("measure", text, at, "skipped", "guide", text, text),),
        guide_answers=(GuideAnswer(text, text, text, at, text),),
        earlier_sites=(SiteRevision(SITE_TEXT),),
        baseline=Baseline((replace(VOLTS, by=text),), "k3m9-7tqp-x2we"),
        closing=next(c for c in CLOSINGS if c == closing),
        leaving=Leaving(at, text, text, text),
    )


def test_no_date_is_broken_over_two_lines() -> None:
    case = replace(build_invented_case(), repairs=(Repair("a wire", START, cured=True),))
    html = render_record(case)
    assert html.count('<bdi class="day">2026-03-14</bdi> 10:42 UTC') >= 1
    assert ".day { white-space: nowrap }" in html
    assert "<td>2026-" not in html


def test_record_holds_every_part_of_a_case_in_order() -> None:
    text = check_page(render_record(build_full_case()))
    wanted = [
        "Record of a visit", "k3m9-7tqp-x2wd", "The site", "two-wire", "The complaint",
        "The panel shows trouble on the zone all the time.", "Before the work", "2026-03-14 10:42 UTC",
        "Readings, in the order taken", "23,9", "23.9 V", "Taken back", "replaced by reading 1",
        "As left at an earlier visit", "k3m9-7tqp-x2we", "Steps suggested", "left out", "Answers to the finding guide",
        "Repairs", "Tests after the repair", "NOT DONE: as told", "NOT tested", "Still lifted", "Head of detector 3",
        "How it was left", "Put right, and tested", "Signature",
    ]  # fmt: skip
    at = 0
    for words in wanted:
        assert words in text[at:], words
        at = text.index(words, at) + len(words)


def test_untested_items_are_named_and_a_full_list_says_so() -> None:
    case = build_full_case()
    text = check_page(render_record(case))
    untested = text.partition("NOT tested")[2].partition("Still lifted")[0]
    assert "Functional test of detector 5" in untested
    assert "One head off shows trouble" in untested
    assert "The supervising station receives it" in untested
    assert "Reset clears the alarm" not in untested
    at = START + timedelta(minutes=31)
    functional = [ProofResult("functional_test", True, at, f"det{n}") for n in range(1, 6)]  # noqa: FBT003
    others = [ProofResult(test, True, at) for test in ("head_off_test", "reset", "at_rest", "station")]  # noqa: FBT003
    others += [ProofResult("recheck", True, at, "volts|panel.zone1+,panel.zone1-|standby")]  # noqa: FBT003
    whole = check_page(render_record(replace(case, tests=(*functional, *others))))
    assert "Everything on the list is done." in whole
    assert "NOT tested" not in whole


def test_value_that_would_be_read_otherwise_today_is_told_beside_what_was_stored() -> None:
    stored = replace(VOLTS, value="2,39", understood=Understood(23.9, "V"))
    text = check_page(render_record(replace(build_invented_case(), readings=(stored,))))
    assert "2,39 (23.9 V) - this program would read the text as 2.39 V. What was stored counts." in text


def test_reading_of_a_loop_that_was_described_otherwise_says_so_in_words_and_a_room_named_since_is_no_other_loop() -> (
    None
):
    mark, noted = "(before the loop was described anew)", "Described anew in the course of the work"
    case = build_full_case()
    assert case.earlier_sites  # the rooms of the same five detectors were named since
    same = check_page(render_record(case))
    assert mark not in same
    assert noted not in same
    assert "description" not in same
    shorter = SiteRevision(SITE_TEXT.replace("count: 5", "count: 4"))
    other = check_page(render_record(replace(case, earlier_sites=(shorter,))))
    assert noted in other
    assert other.count(mark) == 2  # the first reading, and the one that was taken back; not what an earlier visit left
    assert "times;" not in other
    assert mark in check_page(render_record(replace(case, earlier_sites=(SiteRevision("no site"),))))


def test_moments_are_told_by_the_clock_of_the_reader() -> None:
    zone = timezone(timedelta(hours=-5), "EST")
    text = check_page(render_record(replace(build_invented_case(), readings=(VOLTS,)), zone=zone))
    assert "2026-03-14 05:42 EST (UTC-05:00)" in text


def test_record_speaks_in_words_and_has_no_empty_column() -> None:
    case = replace(
        build_invented_case(),
        readings=(
            Reading("which_dark", "det2,det3", at="loop", taken_at=START, understood=Understood("det2,det3")),
            Reading("look", "resistor_missing", at="det5", taken_at=START, understood=Understood("resistor_missing")),
        ),
        repairs=(Repair("conductor_open@det4.in+", START),),
        guide_answers=(GuideAnswer("constant_trouble", "note", "done", START),),
        suggestions=(Suggestion("measure", "lamp|det4|standby", START, "followed", "guide", "constant_trouble", "x"),),
    )
    text = check_page(render_record(case))
    for told in (
        "detector 2", "no resistor at the end", "Open conductor, plus conductor, run into detector 4",
        "Photograph the display", "the finding guide “The panel shows trouble all the time”",
    ):  # fmt: skip
        assert told in text, told
    for token in ("det2", "resistor_missing", "conductor_open", "constant_trouble", "Who"):
        assert token not in text, token


def test_words_follow_the_region() -> None:
    text = check_page(render_record(build_full_case(), "europe"))
    assert "The alarm receiving centre receives it" in text
    notice = check_page(render_impairment(build_full_case(closing="left_impaired"), "europe"))
    assert "Ask the responsible authority" in notice


def test_same_case_gives_the_same_bytes() -> None:
    assert render_record(build_full_case()) == render_record(build_full_case())


@pytest.mark.parametrize("closing", CLOSINGS)
def test_case_can_be_printed_however_it_was_left(closing: str) -> None:
    text = check_page(render_record(build_full_case(closing=closing)))
    assert ("still open" in text) == (closing == "")


def test_notice_says_since_when_what_is_not_protected_who_was_told_and_whom_to_ask() -> None:
    case = build_full_case("Ms Invented, owner", "left_impaired")
    text = check_page(render_impairment(case))
    assert "Impaired since 2026-03-14 11:12 UTC" in text  # the head was taken off then
    assert "zone 1: 5 detectors" in text
    assert "Head of detector 3" in text
    assert "Ms Invented, owner" in text
    assert "Ask the authority having jurisdiction" in text
    assert "fire watch" in text


def test_notice_without_anybody_told_says_so() -> None:
    case = replace(build_invented_case(), closing="left_impaired", leaving=Leaving(datetime(2026, 3, 14, tzinfo=UTC)))
    text = check_page(render_impairment(case))
    assert "Nobody is noted." in text
    assert "when it began is not noted" in text


def test_notice_is_only_for_what_was_left_impaired() -> None:
    with pytest.raises(CaseError, match="left impaired"):
        render_impairment(build_full_case())


def list_pages(text: str) -> Iterator[str]:
    """Yield every page in which a text stands wherever a person can type."""
    yield render_record(build_full_case(text))
    yield render_impairment(build_full_case(text, "left_impaired"))
    yield render_card(build_full_case(text).site)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_stay_text_on_every_page(text: str) -> None:
    for page in list_pages(text):
        read = check_page(page)
        assert " ".join(_Reader(put(text)).text[0].split())[:40] in read


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_was_typed_a_record_is_a_whole_page(text: str) -> None:
    check_page(render_record(build_full_case(text)))
    check_page(render_impairment(build_full_case(text, "left_impaired")))


def test_every_part_of_a_case_is_on_the_page_or_is_named_here() -> None:
    elsewhere = {"site_text", "described_at", "earlier_sites", "revision"}
    on_page = {
        "site", "case_id", "contexts", "symptom", "readings", "can", "meter", "notes", "closing", "repairs",
        "acknowledged", "retracted", "suggestions", "guide_answers", "tests", "leaving", "baseline",
        "earlier_closings",
    }  # fmt: skip
    assert {f.name for f in fields(Case)} == elsewhere | on_page
    assert parse_site_text(build_full_case().site_text, "again") == build_full_case().site
