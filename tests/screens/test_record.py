"""Files to take along: which are offered when, what they are called, what is in them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from diagnostics.cases import Case, CaseStore, Leaving, parse_case
from diagnostics.screens.record import build_file, build_file_name
from diagnostics.source import read_document
from diagnostics.visit import close_case
from tests.screens.conftest import Visitor
from tests.screens.real_work import build_restored, describe

NAMED = """\
format: ohmward-site/1
name: '{name}'
zones: {{zone1: {{senses: fire}}}}
loops: [{{zone: zone1, style: two_wire_zone, end_resistor: {{resistance: 4.7k}}, detectors: [{{room: '<img src=x>'}}]}}]
"""


def list_files(visitor: Visitor) -> list[str]:
    return [str(b.key) for b in visitor.at.download_button]


def test_open_case_offers_the_record_so_far(store: CaseStore) -> None:
    visitor = Visitor(store, describe(store).case_id)
    more = next(e for e in visitor.at.expander if e.label == "The complaint, the loop, the record")
    assert {"to_complaint", "to_describe"} <= {b.key for b in more.button}
    assert list_files(visitor) == ["file_record", "file_card", "file_case"]


@pytest.mark.parametrize(("closing", "more"), [("mended", []), ("left_impaired", ["file_impairment"])])
def test_closed_case_offers_its_files_the_notice_first(store: CaseStore, closing: str, more: list[str]) -> None:
    case = build_restored(store)
    close_case(store, case, closing, told="the owner")  # type: ignore[arg-type]
    assert list_files(Visitor(store, case.case_id)) == [*more, "file_record", "file_card", "file_case"]


def test_case_that_was_never_described_has_no_files_of_a_site_that_nobody_gave(store: CaseStore) -> None:
    visitor = Visitor(store)
    for key in ("new_case", "real_yes", "outputs_release"):
        visitor.tap(key)
    visitor.type("Who has been told?", "the owner").type("Your name", "Ada").tap("release_close")
    assert visitor.case.closing == "not_ours"
    assert list_files(visitor) == []


def test_each_file_is_what_it_is_called_and_as_new_as_the_store(store: CaseStore) -> None:
    case = build_restored(store)
    shown = case.case_id
    close_case(store, case, "left_impaired", told="<i>owner</i>", note="a & b")  # after the page was drawn
    files = {kind: build_file(store, shown, kind, "north_america", UTC) for kind in _KINDS}
    assert "Record of a visit" in files["record"]
    assert "Protection left impaired" in files["impairment"]
    assert "Values card" in files["card"]
    assert "&lt;i&gt;owner&lt;/i&gt;" in files["record"]
    assert "<i>" not in files["record"] + files["impairment"]
    text = files["case"]
    assert parse_case(read_document(text, "again"), None, text=text) == store.load_case(shown)


_KINDS = ("record", "impairment", "card", "case")


def test_file_that_cannot_be_made_says_why(store: CaseStore) -> None:
    case = build_restored(store)
    assert "only a case that was left impaired" in build_file(store, case.case_id, "impairment", "europe", UTC)
    assert "there is no case" in build_file(store, "gone", "record", "europe", UTC)


def test_markup_in_a_name_stays_text_in_every_file(store: CaseStore) -> None:
    case = describe(store, NAMED.format(name="<script>alert(1)</script>"))
    for kind in ("record", "card"):
        text = build_file(store, case.case_id, kind, "north_america", UTC)
        assert "<script" not in text
        assert "<img" not in text


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Corner bakery, new wing", "record-corner-bakery-new-wing-2026-03-14.html"),
        ("Café Ångström", "record-cafe-angstrom-2026-03-14.html"),
        ("../../etc/passwd", "record-etc-passwd-2026-03-14.html"),
        ("a\u202egpj.exe\u0000", "record-agpj-exe-2026-03-14.html"),
        ("漢字", "record-k3m9-7tqp-x2wd-2026-03-14.html"),
        ("x" * 500, f"record-{'x' * 40}-2026-03-14.html"),
    ],
)
def test_file_name_is_plain_letters_with_site_and_day(store: CaseStore, name: str, file: str) -> None:
    case: Case = describe(store)
    left = Leaving(datetime(2026, 3, 15, 2, tzinfo=UTC))
    site = case.site.model_copy(update={"name": name})
    closed = replace(case, site=site, case_id="k3m9-7tqp-x2wd", closing="mended", leaving=left)
    assert build_file_name(closed, "record", timezone(timedelta(hours=-5))) == file  # the evening before, over there
