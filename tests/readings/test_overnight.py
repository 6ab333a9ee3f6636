"""A meter left over night with MIN/MAX on: for faults that come and go (common practice, no source)."""

from dataclasses import replace

import pytest

from diagnostics.faults import parse_faults
from diagnostics.readings import Bench, list_measurements, parse_measurement, read_table
from diagnostics.reasoning import Question, Taken, diagnose, list_hypotheses
from diagnostics.referee import Person, Plant, build_world, list_sites
from diagnostics.wiring import Loop
from tests.external.referee_line import open_line
from tests.wiring.quick import wire_quick

LOOP = wire_quick("two_wire_zone", 5)


def tell(loop: Loop, fault: str) -> dict[str, float]:
    m = parse_measurement("overnight", loop, {"at": loop.zones[0].name})
    (forecast,) = Bench(loop, [parse_faults(fault, loop)]).forecast_all([m])
    assert forecast.chance is not None
    return dict(zip(forecast.tokens, map(float, forecast.chance[0]), strict=True))


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("healthy", "steady"),
        ("leak=3k@det3.in", "fell"),
        ("pair_short@det2.in", "fell"),
        ("end_resistor_missing@end", "rose"),
        ("joint_resistive=10k@det3.in+", "rose"),
        ("joint_resistive=100@det3.in+", "steady"),  # nothing that a panel or a meter would see
        ("foreign_ac@zone1", "swung"),
        ("dust_cover@det3", "steady"),
    ],
)
def test_night_shows_which_way_the_volts_go_while_the_fault_is_there(fault: str, told: str) -> None:
    chances = tell(LOOP, fault)
    assert max(chances, key=lambda word: chances[word]) == told
    assert sum(chances.values()) == pytest.approx(1.0)


def test_fault_may_stay_away_all_night() -> None:
    chances, night = tell(LOOP, "pair_short@det2.in"), read_table().night
    assert chances["steady"] == pytest.approx(1 - night.comes, abs=0.05)


def test_it_costs_another_visit_and_brings_the_cautions_of_a_meter_that_is_left() -> None:
    m = parse_measurement("overnight", LOOP, {"at": "zone1"})
    assert m.find_minutes("panel") == m.data.minutes + read_table().second_visit_minutes
    assert m.data.minutes < 15  # of hands; the night itself is nobody's
    assert {"meter_left", "live_cabinet", "put_back"} <= set(m.cautions)
    assert m.data.settling >= 8 * 3600


def test_it_is_proposed_only_where_nothing_quicker_tells() -> None:
    bench = Bench(LOOP, list_hypotheses(LOOP))
    question = Question(contexts=("aged", "comes_and_goes"), symptom="constant_trouble")
    first = diagnose(bench, question).next
    assert first is not None
    assert first.measurement is not None
    assert not first.measurement.data.nights
    quick = frozenset(m.key for m in list_measurements(LOOP) if not m.data.nights)
    cannot = replace(question, skipped=quick)  # it is not there just now: nothing can be read that tells
    night = diagnose(bench, cannot).next
    assert night is not None
    assert night.measurement is not None
    assert night.measurement.kind == "overnight"
    assert night.minutes > read_table().second_visit_minutes
    told = replace(cannot, taken=(Taken(night.measurement, "fell"),))
    kinds = [c.faults[0].kind for c in diagnose(bench, told).candidates[:3] if c.faults]
    assert set(kinds) <= {"leak", "pair_short", "end_resistor_wrong", "end_resistor_twice", "detector_stuck"}
    after = diagnose(bench, told).next
    assert after is None or after.measurement is None or after.measurement.kind != "overnight"


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("healthy", "steady"),
        ("leak=1000@det2.in", "fell"),
        ("conductor_open@det2.in+", "rose"),
        ("foreign_ac@zone1", "swung"),
    ],
)
def test_the_referee_reads_the_meter_in_the_morning(fault: str, told: str) -> None:
    line, site = open_line(), list_sites("two_wire_zone")[0]
    row = next(r for r in line.list_rows("measurements", site) if r["measurement"] == "overnight")
    plant = Plant(site, fault, "aged", (2,))
    world = build_world(line, site, fault, plant.seed)
    careful = replace(world, spreads=world.spreads.with_slips(0.0, 0.0))
    assert Person(careful, plant).read(row) == told
    assert row["minutes_there"] > read_table().second_visit_minutes
