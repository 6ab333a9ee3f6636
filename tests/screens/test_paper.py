"""The loop on paper: what the command line says of a site is there on the phone, and leads back to the step in hand."""

from pathlib import Path

from diagnostics.cases import CaseStore
from diagnostics.proving import check_design, check_testability
from diagnostics.reports import build_design_table, build_testability_table
from diagnostics.wiring import build_loop
from tests.screens.conftest import Visitor
from tests.screens.real_work import describe

SITES = Path(__file__).parents[2] / "cases" / "sites"


def open_paper(store: CaseStore, site_text: str = "") -> Visitor:
    return Visitor(store, describe(store, site_text).case_id).tap("to_describe").tap("paper_open")


def test_design_check_stands_with_every_number_and_its_source(store: CaseStore) -> None:
    visitor = open_paper(store)
    loop = build_loop(visitor.case.site)
    table = build_design_table(check_design(loop), loop)
    assert table.lines
    for line in table.lines:
        assert line.what in visitor.text.replace("\\", "")
        assert line.source in visitor.text.replace("\\", "")
    for _, sentence, _ in table.told:
        assert sentence in visitor.text.replace("\\", "")


def test_a_loop_with_a_flaw_is_complained_of_before_the_numbers(store: CaseStore) -> None:
    text = (SITES / "bakery.yaml").read_text("utf-8").replace("{resistance: 4.7 kΩ}", "{resistance: 47 kΩ}")
    visitor = open_paper(store, text)
    loop = build_loop(visitor.case.site)
    told = build_design_table(check_design(loop), loop).told
    assert told, "ten times the resistor is no good design"
    assert visitor.at.warning
    assert any(told[0][1] in w.value.replace("\\", "").replace("\u00a0", " ") for w in visitor.at.warning)


def test_testability_is_worked_out_when_asked_for_and_the_way_back_is_there(store: CaseStore) -> None:
    visitor = open_paper(store, (SITES / "bench_two_wire.yaml").read_text("utf-8"))
    assert "What the panel cannot see" not in [e.label for e in visitor.at.expander]
    visitor.tap("paper_testability")
    loop = build_loop(visitor.case.site)
    table = build_testability_table(check_testability(loop), loop)
    labels = [e.label for e in visitor.at.expander]
    assert {table.unseen.title, table.alike.title, table.least.title} <= set(labels)
    assert table.lead in visitor.text.replace("\\", "")
    for title, _ in table.cautions:
        assert title in visitor.text.replace("\\", "")
    visitor.tap("paper_back_below")
    assert visitor.has("to_describe"), "the step in hand is shown again"
