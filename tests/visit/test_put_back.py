"""What a visit disturbed is put back pair by pair; what was said of a repair can be taken back."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from diagnostics.cases import Acknowledgement, Case, CaseStore, Reading, parse_site_text
from diagnostics.errors import CaseError, NotFoundError
from diagnostics.locate import find_shipped
from diagnostics.readings import parse_measurement
from diagnostics.visit import (
    HEAD_OFF,
    assess_case,
    choose_head,
    find_disturbances,
    find_first,
    finish_tests,
    list_proof,
    open_case,
    pass_tests,
    put_back,
    record_repair,
    take_back_repair,
    tell_loop,
)
from diagnostics.wiring import build_loop

START = datetime(2026, 3, 14, 10, 42, tzinfo=UTC)
CHAPEL = (find_shipped("cases") / "sites" / "chapel.yaml").read_text("utf-8")  # invented; two zones that can be lifted


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    """Return an empty store."""
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as opened:
        yield opened


def open_lifted(store: CaseStore, *pairs: tuple[str, str]) -> Case:
    readings = tuple(Reading("ohms", "OL", *pair, mode="lifted", taken_at=START) for pair in pairs)
    return open_case(store, Case(parse_site_text(CHAPEL, "site"), CHAPEL, readings=readings))


def list_standing(case: Case) -> list[str]:
    return [d.measurement.red for d in find_disturbances(case, build_loop(case.site))]


ONE, TURNED, TWO = (
    ("panel.zone1+", "panel.zone1-"), ("panel.zone1-", "panel.zone1+"), ("panel.zone2+", "panel.zone2-"),
)  # fmt: skip


def test_each_lifted_pair_is_put_back_by_itself_and_both_polarities_are_one(store: CaseStore) -> None:
    case = open_lifted(store, ONE, TURNED, TWO)
    assert list_standing(case) == ["panel.zone1+", "panel.zone2+"]
    case = put_back(store, case, find_disturbances(case, build_loop(case.site))[0].measurement)
    assert list_standing(case) == ["panel.zone2+"]


Row = tuple[str, str, str, str]  # kind, side, mode, value


def read(*rows: Row) -> tuple[Reading, ...]:
    return tuple(
        Reading(kind, value, f"{side}.zone1+", f"{side}.zone1-", mode=mode) for kind, side, mode, value in rows
    )


OHMS = ("ohms", "panel", "lifted", "4.7 kohm")
BARE, WIRES = ("volts", "panel", "pair_lifted:zone1", "24 V"), ("volts", "field", "pair_lifted:zone1", "0 V")
KNOWN = ("volts", "panel", "known_resistor:4k7", "19.8 V")


@pytest.mark.parametrize(
    ("done", "next_", "first"),
    [
        ((OHMS,), BARE, ("stays", "power")),
        ((OHMS,), ("volts", "panel", "standby", ""), ("pair_on", "power")),
        ((OHMS, BARE), WIRES, ("stays",)),
        ((BARE, KNOWN), BARE, ("known_off", "stays")),
        ((BARE, KNOWN), ("volts", "panel", "standby", ""), ("known_off", "pair_on")),
        ((BARE,), ("ohms", "panel", "lifted", ""), ("stays",)),
        ((BARE, ("volts", "panel", "standby", "19 V")), WIRES, ()),  # it was back for the last reading
        ((), BARE, ()),
    ],
)
def test_what_the_last_step_left_off_is_said_before_the_next(
    store: CaseStore,
    done: tuple[tuple[str, str, str, str], ...],
    next_: tuple[str, str, str, str],
    first: tuple[str, ...],
) -> None:
    case = open_case(store, Case(parse_site_text(CHAPEL, "site"), CHAPEL, readings=read(*done)))
    loop = build_loop(case.site)
    (reading,) = read(next_)
    m = parse_measurement(reading.measurement, loop, reading.where)
    assert find_first(case, loop, m) == first
    for standing in find_disturbances(case, loop):
        case = put_back(store, case, standing.measurement)
    assert find_first(case, loop, m) == (), "all was put back"


def test_another_pair_is_lifted_once_the_first_is_back(store: CaseStore) -> None:
    text = (find_shipped("cases") / "sites" / "hostel.yaml").read_text("utf-8")
    case = open_case(store, Case(parse_site_text(text, "site"), text, readings=read(BARE)))
    loop = build_loop(case.site)
    where = {"red": "panel.zone2+", "black": "panel.zone2-", "mode": "pair_lifted:zone2"}
    assert find_first(case, loop, parse_measurement("volts", loop, where)) == ("pair_on",)


def test_a_pair_that_was_read_at_screws_and_wires_is_put_back_once(store: CaseStore) -> None:
    case = open_case(store, Case(parse_site_text(CHAPEL, "site"), CHAPEL, readings=read(BARE, WIRES, KNOWN)))
    assert [d.measurement.mode.word for d in find_disturbances(case, build_loop(case.site))] == [
        "pair_lifted",
        "known_resistor",
    ]


def test_put_back_of_a_record_that_knows_no_pairs_still_counts(store: CaseStore) -> None:
    case = open_lifted(store, ONE, TWO)
    later = Acknowledgement("put_back ohms ", START + timedelta(minutes=1))
    assert list_standing(store.append_acknowledgement(case.case_id, later, case.revision)) == []
    earlier = open_lifted(store, ONE)
    before = Acknowledgement("put_back ohms ", START - timedelta(minutes=1))
    assert list_standing(store.append_acknowledgement(earlier.case_id, before, earlier.revision)) == ["panel.zone1+"]


def test_repair_taken_back_is_no_evidence_and_proves_nothing(store: CaseStore) -> None:
    bare = open_lifted(store, ONE)
    case = record_repair(store, bare, "fit_end_resistor@end", cured=False)
    untold = assess_case(bare).diagnosis.candidates
    assert assess_case(case).diagnosis.candidates != untold
    case = take_back_repair(store, case, 0)
    assert assess_case(case).diagnosis.candidates == untold
    assert [r.cured for r in case.repairs] == [None]
    with pytest.raises(NotFoundError, match="no repair number 2"):
        take_back_repair(store, case, 1)


def test_head_off_test_is_at_the_detector_that_its_result_names(store: CaseStore) -> None:
    case = record_repair(store, open_lifted(store), "fit_end_resistor@end", cured=True)
    loop = build_loop(case.site)
    assert choose_head(case, loop) == loop.detectors[-1].name
    assert [i.at for i in list_proof(case, loop) if i.test == HEAD_OFF] == [""]
    case = pass_tests(store, case, "det1")
    (item,) = (i for i in list_proof(case, loop) if i.test == HEAD_OFF)
    assert (item.at, item.key) == ("det1", HEAD_OFF)
    assert item.result is not None
    assert item.result.done


@pytest.mark.parametrize(
    ("about", "repair", "last"),
    [
        ("zone2", "fit_end_resistor", "det7"),
        ("zone1", "join_conductor@run det6", "det7"),
        ("", "join_conductor@run det2", "det4"),
    ],
)
def test_tests_after_a_repair_are_of_the_loop_that_was_repaired_or_complained_of(
    store: CaseStore, about: str, repair: str, last: str
) -> None:
    text = (find_shipped("cases") / "sites" / "hostel.yaml").read_text("utf-8")  # invented; det1-4 and det5-7
    case = tell_loop(store, open_case(store, Case(parse_site_text(text, "site"), text)), about)
    case = record_repair(store, case, repair, cured=True)
    loop = build_loop(case.site)
    assert choose_head(case, loop) == last
    assert [i.at for i in list_proof(case, loop) if "farthest" in i.reasons] == [last]
    assert all("kind" in i.reasons for i in list_proof(case, loop) if "farthest" in i.reasons)


def test_after_a_board_is_swapped_every_loop_is_tested(store: CaseStore) -> None:
    text = (find_shipped("cases") / "sites" / "hostel.yaml").read_text("utf-8")
    case = tell_loop(store, open_case(store, Case(parse_site_text(text, "site"), text)), "zone2")
    case = record_repair(store, case, "swap_zone_input@zone2", cured=True)
    assert [i.at for i in list_proof(case, build_loop(case.site)) if "farthest" in i.reasons] == ["det4", "det7"]


def test_both_pairs_of_a_loop_that_comes_home_are_lifted_as_one_and_put_back_as_one(store: CaseStore) -> None:
    text = (find_shipped("cases") / "sites" / "theatre.yaml").read_text("utf-8")
    pairs = (ONE, ("panel.zone1+", "panel.zone1r+"), ("panel.zone1r-", "panel.zone1-"), ("panel.zone1+", "earth"))
    readings = tuple(Reading("ohms", "OL", *pair, mode="lifted", taken_at=START) for pair in pairs)
    case = open_case(store, Case(parse_site_text(text, "site"), text, readings=readings))
    (standing,) = find_disturbances(case, build_loop(case.site))
    assert find_disturbances(put_back(store, case, standing.measurement), build_loop(case.site)) == ()


def test_tests_are_not_through_while_something_is_off(store: CaseStore) -> None:
    case = record_repair(store, open_lifted(store, ONE), "fit_end_resistor@end", cured=True)
    with pytest.raises(CaseError, match="not everything has been put back"):
        finish_tests(store, case)
