"""Every worked case whose readings ngspice made from a netlist typed by hand ends at the fault that was planted.

Outside world: the netlists were typed from words by someone who had not opened the engine, ngspice solves them, and
values, meter errors and what eyes miss are drawn (*invented*, wider than the program believes). The planted fault and
the words that made the case stand in its comments only, where the program does not read them.
"""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from diagnostics.referee.score import AT_THE_END, find_run
from tests.external import make_cases
from tests.external.case_world import read_volts
from tests.sampling import sample

MADE = re.compile(r"^# made by: python tests/external/make_cases\.py (.+)$", flags=re.MULTILINE)
PLANTED = re.compile(r"^# planted: (\S+)$", flags=re.MULTILINE)
WIDE = re.compile(r"^# wide: (.+)$", flags=re.MULTILINE)
LEAST, MOST_PLACES = 0.90, 4

CASES = [path for path in sorted(make_cases.CASES.glob("*.yaml")) if MADE.search(path.read_text("utf-8"))]
each_case = pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)

STYLES = {"two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire"}
SYMPTOMS = {
    "constant_trouble",
    "will_not_reset",
    "only_first_report",
    "none_report",
    "one_does_not_report",
    "some_do_not_report",
    "wrong_zone_reports",
    "alarm_with_nothing_there",
    "no_trouble_with_head_off",
}


def find_planted(path: Path) -> str:
    found = PLANTED.search(path.read_text("utf-8"))
    assert found, "say in a comment which fault was planted"
    return found[1]


@cache
def diagnose(path: Path) -> dict[str, Any]:
    return make_cases.ask("diagnose", str(path))


def find_mended(path: Path, fault: str) -> list[dict[str, Any]]:
    """Return the candidates that the same pair of hands mends: the remedy and the place of the planted fault."""
    kinds = make_cases.list_kinds(make_cases.find_site(read_wanted(path).site))
    kind, _, place = fault.partition("@")
    remedy = kinds[kind.partition("=")[0]]["remedy"]
    return [
        row
        for row in diagnose(path)["candidates"]
        if row["kind"] in kinds
        and kinds[row["kind"]]["remedy"] == remedy
        and (remedy in AT_THE_END or find_run(row["place"]) == find_run(place))
    ]


def read_wanted(path: Path) -> make_cases.Wanted:
    return make_cases.read_case_words(path.read_text("utf-8"))


def test_cases_cover_every_style_and_symptom() -> None:
    assert len(CASES) >= 12
    wanted = [read_wanted(path) for path in CASES]
    sites = [make_cases.find_site(w.site).read_text("utf-8") for w in wanted]
    assert {w.symptom for w in wanted} >= SYMPTOMS
    assert {style for style in STYLES for site in sites if f"style: {style}\n" in site} == STYLES
    assert any("one_way" in site for site in sites)


@each_case
def test_case_ends_at_the_planted_fault_or_its_group(path: Path) -> None:
    last, mended = diagnose(path), find_mended(path, find_planted(path))
    assert last["settled"]
    assert sum(row["probability"] for row in mended) >= LEAST
    assert max(row["probability"] for row in mended) > last["not_modelled"]
    assert last["candidates"][0] in mended


@each_case
def test_planted_fault_is_still_in_the_running(path: Path) -> None:
    kind, _, place = find_planted(path).partition("@")
    named = [(row["kind"], row["place"]) for row in find_mended(path, find_planted(path))]
    assert (kind.partition("=")[0], place) in named


@each_case
def test_more_than_four_places_need_a_reason(path: Path) -> None:
    places = {row["place"] for row in find_mended(path, find_planted(path)) if row["probability"] >= 0.01}
    assert len(places) <= MOST_PLACES or WIDE.search(path.read_text("utf-8")), sorted(places)


@each_case
def test_planted_fault_stands_in_comments_only(path: Path) -> None:
    text = path.read_text("utf-8")
    assert read_wanted(path).fault == find_planted(path)
    assert find_planted(path) not in "\n".join(line for line in text.splitlines() if not line.startswith("#"))


@pytest.mark.ngspice
@pytest.mark.parametrize("path", sample(CASES, 8), ids=lambda path: path.stem)
def test_case_is_made_again_from_its_seed(path: Path, ngspice: str) -> None:
    text = path.read_text("utf-8")
    again, visit = make_cases.make_case(read_wanted(path), ngspice)
    assert visit.readings
    assert again == text


@pytest.mark.ngspice
def test_another_seed_reads_otherwise(ngspice: str) -> None:
    wanted = read_wanted(CASES[0])
    worlds = [make_cases.build_world(replace(wanted, seed=seed), ngspice) for seed in (1, 2)]
    first, second = (read_volts(w, "standby", "panel.zone1+", "panel.zone1-") for w in worlds)
    assert abs(first - second) > 0.01


@pytest.mark.ngspice
def test_what_a_healthy_loop_shows_too_is_no_complaint(ngspice: str) -> None:
    words = make_cases.Wanted("ticket_hall", "conductor_open@det3.in+", "no_trouble_with_head_off", 1, "none")
    with pytest.raises(AssertionError, match="with nothing wrong"):
        make_cases.make_case(words, ngspice)
