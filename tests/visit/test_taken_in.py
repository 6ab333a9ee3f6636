"""A case file comes into another store, or back into its own: nothing is lost there, and nothing changed."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnostics.cases import Acknowledgement, CaseStore, Reading, read_case, write_case
from diagnostics.errors import FaultError, SourceError
from diagnostics.locate import find_shipped
from diagnostics.visit import SAFETY, acknowledge, find_hidden, find_stage, record_reading, take_in_case

CASES = find_shipped("cases")
CALL = CASES / "bakery_call.yaml"
WHOLE = sorted(CASES.glob("*.yaml"))
LATER = Reading("panel_shows", "trouble", at="panel", reading_id="b" * 32)


@pytest.fixture
def stores(tmp_path: Path) -> Iterator[tuple[CaseStore, CaseStore]]:
    with CaseStore(f"sqlite:///{tmp_path}/one.sqlite3") as one, CaseStore(f"sqlite:///{tmp_path}/two.sqlite3") as two:
        yield one, two


@pytest.mark.parametrize("path", WHOLE, ids=lambda path: path.stem)
def test_a_case_goes_from_one_server_to_another(path: Path, stores: tuple[CaseStore, CaseStore]) -> None:
    here, there = stores
    case = here.create_case(read_case(path))
    taken = take_in_case(there, write_case(case).encode(), path.name)
    assert (taken.beside, taken.is_older) == ("", False)
    assert taken.case.case_id == case.case_id
    for what in ("site", "readings", "retracted", "repairs", "tests", "closing", "symptom", "contexts", "baseline"):
        assert getattr(taken.case, what) == getattr(case, what)


def test_a_case_written_by_hand_begins_with_safety_and_is_not_described_anew(
    stores: tuple[CaseStore, CaseStore],
) -> None:
    text = CALL.read_text("utf-8").replace("site: sites/bakery.yaml", "site: bakery")
    here, _ = stores
    case = take_in_case(here, text.encode(), "call.yaml").case
    for name in (*SAFETY, "for_us"):
        assert find_stage(case) == name
        case = acknowledge(here, case, name)
    assert find_stage(case) == "work"


def test_the_same_file_again_is_the_same_case(stores: tuple[CaseStore, CaseStore]) -> None:
    here, _ = stores
    case = here.create_case(read_case(CALL))
    taken = take_in_case(here, write_case(case).encode(), "call.yaml")
    assert (taken.case.case_id, taken.beside, taken.is_older) == (case.case_id, "", False)
    assert taken.case.revision == case.revision
    assert len(here.list_cases()) == 1


def test_a_file_made_before_the_case_went_on_leads_to_how_it_stands_now(stores: tuple[CaseStore, CaseStore]) -> None:
    here, _ = stores
    case = here.create_case(read_case(CALL))
    content = write_case(case).encode()
    gone_on = record_reading(here, case, LATER)
    taken = take_in_case(here, content, "call.yaml")
    assert taken.is_older
    assert taken.case == gone_on
    assert len(here.list_cases()) == 1


def test_two_ways_from_one_beginning_are_both_kept(stores: tuple[CaseStore, CaseStore]) -> None:
    here, there = stores
    case = here.create_case(read_case(CALL))
    away = take_in_case(there, write_case(case).encode(), "call.yaml").case
    content = write_case(record_reading(there, away, replace(LATER, value="normal", reading_id="c" * 32))).encode()
    gone_on = record_reading(here, case, LATER)
    taken = take_in_case(here, content, "call.yaml")
    assert taken.beside == case.case_id
    assert taken.case.case_id != case.case_id
    assert taken.case.readings[-1].value == "normal"
    assert here.load_case(case.case_id) == gone_on


WRONG = {
    "empty": b"",
    "a picture": bytes(range(256)) * 40,
    "a list": b"- 1\n- 2\n",
    "a site": (CASES / "sites" / "bakery.yaml").read_bytes(),
    "cut short": CALL.read_bytes()[:300],
    "a path of another machine": CALL.read_bytes(),
    "too large": b"format: ohmward-case/1\nnotes: " + b"a" * 2_000_000,
    "a number that is no reading": (
        b"format: ohmward-case/1\nsite: bench_two_wire\nreadings:\n  - {measurement: volts, red: panel.zone1+, "
        b"black: panel.zone1-, value: 1e99 V, understood: {value: 1e99, unit: V}}\n"
    ),
    "unknown reading": CALL.read_bytes()
    .replace(b"which_dark", b"which_bright")
    .replace(b"sites/bakery.yaml", b"bakery"),
}


@pytest.mark.parametrize("name", sorted(WRONG))
def test_what_is_no_case_says_where_and_leaves_nothing(name: str, stores: tuple[CaseStore, CaseStore]) -> None:
    here, _ = stores
    with pytest.raises(SourceError) as told:
        take_in_case(here, WRONG[name], "call.yaml")
    assert all(finding.file == "call.yaml" and finding.line >= 1 for finding in told.value.findings)
    assert here.list_cases() == ()


@pytest.mark.parametrize("hidden", ["end_resistor_missing@nowhere", "conductor_open@det40.in+", "no such thing"])
def test_practice_whose_loop_cannot_have_what_is_hidden_is_refused_and_says_not_what(
    hidden: str, stores: tuple[CaseStore, CaseStore]
) -> None:
    here, there = stores
    right = Acknowledgement("invented end_resistor_missing@end", datetime.now(UTC))
    case = here.create_case(replace(read_case(CALL), acknowledged=(right,)))
    assert find_hidden(take_in_case(there, write_case(case).encode(), "call.yaml").case) is not None
    content = write_case(replace(case, acknowledged=(replace(right, caution=f"invented {hidden}"),))).encode()
    count = len(there.list_cases())
    with pytest.raises(FaultError) as told:
        take_in_case(there, content, "call.yaml")
    assert hidden not in f"{told.value.message} {told.value.hint}"
    assert len(there.list_cases()) == count


def test_an_empty_file_and_a_loop_are_told_as_what_they_are(stores: tuple[CaseStore, CaseStore]) -> None:
    here, _ = stores
    for content, said in ((b" \n", "the file is empty"), (WRONG["a site"], "this file describes a loop")):
        with pytest.raises(SourceError) as told:
            take_in_case(here, content, "call.yaml")
        assert said in told.value.findings[0].message
