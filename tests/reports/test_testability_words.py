"""Testability in words and as an object: everything can be said, in both dialects, cautions before their steps."""

import json
from dataclasses import replace
from functools import cache

import pytest

from diagnostics.locate import find_shipped
from diagnostics.proving import Testability as Told
from diagnostics.proving import check_testability
from diagnostics.reports import (
    Region,
    build_testability_object,
    build_testability_table,
    render_testability_text,
    tell_caution,
)
from diagnostics.wiring import Loop, build_loop, read_site

SITES = ("bench_two_wire", "bench_module_four_wire", "bench_dry_contacts", "theatre")


@cache
def check(name: str) -> tuple[Told, Loop]:
    """Return the testability of a shipped site."""
    loop = build_loop(read_site(find_shipped("cases") / "sites" / f"{name}.yaml"))
    return check_testability(loop), loop


@pytest.mark.parametrize("region", ["north_america", "europe"])
@pytest.mark.parametrize("name", SITES)
def test_everything_is_said_in_both_dialects_with_nothing_left_open(name: str, region: Region) -> None:
    told, loop = check(name)
    table = build_testability_table(told, loop, region)
    assert "{" not in f"{table}"
    assert "_" not in f"{table.lists}{table.unseen.rows}{table.alike.rows}"
    for section in (table.unseen, table.alike, table.least):
        assert all(len(row) == len(section.heads) for row in section.rows)
    assert len(table.least.rows) == len(table.lists) == len(told.least)


@pytest.mark.parametrize("name", SITES)
def test_lists_name_each_measurement_of_their_set_once_and_begin_at_the_panel(name: str) -> None:
    told, loop = check(name)
    for some, least in zip(build_testability_table(told, loop).lists, told.least, strict=True):
        assert sum(len(names) for _, names in some.stops) == len(least.fewest.measurements)
        assert len({place for place, _ in some.stops}) == len(some.stops)
        assert some.stops[0][0] == "At the panel"


@pytest.mark.parametrize("name", SITES)
def test_every_caution_that_a_list_needs_stands_before_the_lists(name: str) -> None:
    told, loop = check(name)
    lines = render_testability_text(told, loop)
    first = next(n for n, line in enumerate(lines) if "fewest measurements, one round" in line.lower())
    needed = {c for least in told.least for m in least.fewest.measurements for c in m.cautions}
    assert {"outputs", "tell_people"} <= needed
    for caution in needed | {"is_it_real"}:
        assert any(tell_caution(caution)[1] in line for line in lines[:first])
    assert "replaces no test" in lines[-1]


def test_a_gap_is_told_as_a_gap() -> None:
    told, loop = check("bench_two_wire")
    open_ = replace(told.least[0], fewest=replace(told.least[0].fewest, bound=5.0, is_proved=False))
    first, second, _ = build_testability_table(replace(told, least=(open_, *told.least[1:])), loop).least.rows
    assert first[2] == "16; no set has less than 5, which is not reached - time ran out"
    assert second[2] == "28, proved the least"


def test_sets_found_in_no_time_at_all_still_do_their_work_and_claim_no_more() -> None:
    told, hurried = check("bench_two_wire")[0], check_testability(check("bench_two_wire")[1], seconds=1e-9)
    for right, found in zip(told.least, hurried.least, strict=True):
        assert found.able == right.able
        assert found.fewest.bound <= right.fewest.bound <= len(found.fewest.measurements)
        assert found.quickest.bound <= right.quickest.bound <= found.quickest.minutes + 1e-6
        assert not found.fewest.is_proved or len(found.fewest.measurements) == len(right.fewest.measurements)


@pytest.mark.parametrize("name", SITES)
def test_object_holds_every_fault_group_and_set(name: str) -> None:
    told, _ = check(name)
    found = json.loads(json.dumps(build_testability_object(told), allow_nan=False))
    assert len(found["unseen"]) == len(told.unseen)
    assert [len(g["members"]) for g in found["alike"]] == [len(g.members) for g in told.alike]
    for least in found["least"]:
        for kit in (least["fewest"], least["quickest"]):
            assert kit["count"] == len(kit["measurements"])
            assert kit["proved"] is True
    assert all(u["found_by"] is not None or u["how"] in {"perhaps", "nothing"} for u in found["unseen"])
