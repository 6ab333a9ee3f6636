"""Silent defects met on the way are told, whatever the cause is (common practice, no source)."""

import pytest

from diagnostics.readings import Measurement, list_measurements
from diagnostics.reasoning import MetDefect, Taken, find_met_defects
from diagnostics.reports import Words
from diagnostics.wiring import Loop
from tests.wiring.quick import wire_quick

TWO_WIRE = wire_quick("two_wire_zone", 4)
BARE = wire_quick("four_wire_zone", 4, end_relay="no")


def find(loop: Loop, kind: str, at: str) -> Measurement:
    return next(m for m in list_measurements(loop) if m.kind == kind and m.at == at)


def meet(loop: Loop, *readings: tuple[str, str, str]) -> tuple[MetDefect, ...]:
    return find_met_defects(loop, [Taken(find(loop, kind, at), value) for kind, at, value in readings])


def test_head_that_is_not_noticed_is_told_until_it_is_noticed() -> None:
    off = ("head_off", "det2", "normal")
    assert meet(TWO_WIRE, off) == (MetDefect("head_not_noticed", "det2"),)
    assert meet(TWO_WIRE, ("head_off", "det2", "trouble")) == ()
    assert meet(TWO_WIRE, off, ("head_off", "det2", "trouble")) == ()


def test_head_on_a_supply_that_nothing_supervises_is_told_by_the_description_alone() -> None:
    assert meet(BARE, ("head_off", "det2", "normal")) == ()
    assert len(Words(BARE).defects()) == 1


@pytest.mark.parametrize("sight", ["three_wires", "link_left", "under_one_terminal", "resistor_on_in"])
def test_sight_of_what_is_not_watched_is_told_with_its_place(sight: str) -> None:
    taken = [Taken(find(TWO_WIRE, "look", "det4"), sight)]
    assert find_met_defects(TWO_WIRE, taken) == (MetDefect("seen_unwatched", "det4", sight),)
    (told,) = Words(TWO_WIRE).met_defects(taken)
    assert Words(TWO_WIRE).answer(sight) in told
    assert "detector 4" in told


def test_ordinary_sights_and_lamps_are_no_defect_of_this_sort() -> None:
    assert (
        meet(TWO_WIRE, ("look", "det2", "wire_off"), ("look", "det3", "as_it_should_be"), ("lamp", "det1", "dark"))
        == ()
    )
