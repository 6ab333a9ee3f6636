"""Two heads swapped: does the trouble go with the head (common practice, no source)."""

import pytest

from diagnostics.faults import parse_faults, read_catalogue
from diagnostics.readings import Bench, Measurement, find_neighbour, list_measurements, parse_measurement
from diagnostics.reasoning import list_hypotheses
from diagnostics.referee import Person, Plant, build_world, list_sites
from diagnostics.source import read_document
from diagnostics.wiring import Loop, build_loop, parse_site
from tests.external.referee_line import open_line
from tests.wiring.quick import wire_quick

TWO_WIRE, FOUR_WIRE = wire_quick("two_wire_zone", 6), wire_quick("four_wire_zone", 6)


def read_text(text: str) -> Loop:
    return build_loop(parse_site(read_document(text, "workshop.yaml")))


def swap(loop: Loop, at: str) -> Measurement:
    return parse_measurement("heads_swapped", loop, {"at": at})


def answer(loop: Loop, fault: str, at: str = "det4") -> dict[str, float]:
    (forecast,) = Bench(loop, [(), parse_faults(fault, loop)]).forecast_all([swap(loop, at)])
    assert forecast.chance is not None
    return dict(zip(forecast.tokens, map(float, forecast.chance[1]), strict=True))


@pytest.mark.parametrize("loop", [TWO_WIRE, FOUR_WIRE], ids=["two-wire", "four-wire"])
@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("detector_dead@det4", "other_place"),  # lives in the head
        ("dust_cover@det4", "other_place"),
        ("sensor_failed@det4", "other_place"),
        ("detector_stuck@det4", "other_place"),
        ("detector_dead@det3", "this_place"),  # and comes here with the other head
        ("head_not_home@det4", "neither_place"),  # fitting it anew cures it
        ("conductor_open@det4.in+", "this_place"),  # lives in the cable: the whole place is dark with any head
        ("polarity_reversed@det4", "this_place"),
        ("conductor_open@det2.in+", "both_places"),
        ("link_left_in_base@det4", "neither_place"),  # nothing of it is seen by lamp or test
    ],
)
def test_what_lives_in_the_head_goes_with_it_and_what_does_not_stays(loop: Loop, fault: str, told: str) -> None:
    chances = answer(loop, fault)
    assert max(chances, key=lambda word: chances[word]) == told
    assert sum(chances.values()) == pytest.approx(1.0)


def test_steam_at_the_place_may_stay_where_a_dirty_head_goes() -> None:
    """A stuck head is dirt, insects or steam: the share that stays is the catalogue's."""
    head = read_catalogue().kinds["detector_stuck"].head
    chances = answer(FOUR_WIRE, "detector_stuck@det4")
    assert chances["other_place"] / (chances["other_place"] + chances["this_place"]) == pytest.approx(
        head.moves, abs=0.01
    )


def test_of_two_faults_at_once_only_the_one_in_the_head_moves() -> None:
    chances = answer(TWO_WIRE, "dust_cover@det4,conductor_open@det6.in+")
    assert chances["other_place"] > 0.9


def test_forecast_of_a_pair_agrees_with_that_of_a_bench_which_holds_the_swapped_pair() -> None:
    faults = [parse_faults(f"detector_dead@{at},leak=1k@det2.in", TWO_WIRE) for at in ("det4", "det3")]
    (alone,) = Bench(TWO_WIRE, [(), faults[0]]).forecast_all([swap(TWO_WIRE, "det4")])
    (beside,) = Bench(TWO_WIRE, [(), *faults]).forecast_all([swap(TWO_WIRE, "det4")])
    assert alone.chance is not None
    assert beside.chance is not None
    assert alone.chance[1] == pytest.approx(beside.chance[1])


def test_every_hypothesis_has_chances_that_sum_to_one() -> None:
    (forecast,) = Bench(FOUR_WIRE, list_hypotheses(FOUR_WIRE)).forecast_all([swap(FOUR_WIRE, "det1")])
    assert forecast.chance is not None
    assert forecast.chance.sum(axis=1) == pytest.approx(1.0)
    assert (forecast.chance > 0).all()


def test_only_heads_of_a_kind_on_a_loop_whose_order_is_known_are_swapped() -> None:
    contacts, module = wire_quick("dry_contacts", 4), read_text(MIXED)
    assert not [m for m in list_measurements(contacts) if m.kind == "heads_swapped"]
    assert {d.name: find_neighbour(module, d.name) for d in module.detectors} == {
        "det1": "det2", "det2": "det1", "det3": "",
    }  # fmt: skip
    unknown = read_text(MIXED.replace("detectors: [{}, {}, {profile: co_two_wire}]", "count: 3\n    order: unknown"))
    assert not [m for m in list_measurements(unknown) if m.kind == "heads_swapped"]


MIXED = """\
format: ohmward-site/1
name: Workshop (invented)
zones: {zone1: {senses: fire, end_resistor: 4.7 kΩ}, zone2: {senses: co, end_resistor: 4.7 kΩ}}
loops:
  - zone: zone1
    co_zone: zone2
    style: module_two_wire
    detectors: [{}, {}, {profile: co_two_wire}]
    end_resistor: {resistance: 3.3 kΩ}
"""


def test_it_brings_the_minutes_of_both_places_and_its_cautions() -> None:
    m = swap(TWO_WIRE, "det4")
    assert m.beside == "det3"
    assert m.find_minutes("det4") > parse_measurement("functional_test", TWO_WIRE, {"at": "det4"}).find_minutes("det4")
    assert {"outputs", "tell_people", "evidence_first", "out_of_service", "put_back", "ladder"} <= set(m.cautions)
    assert m.tools == {"tester", "ladder"}


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("healthy", {"neither_place"}),
        ("dust_cover@det2", {"other_place"}),
        ("dust_cover@det1", {"this_place"}),
        ("head_not_home@det2", {"neither_place"}),
        ("conductor_open@det2.in+", {"this_place"}),
        ("detector_stuck@det2", {"this_place", "other_place"}),  # by the luck of the world: dirt, or steam there
    ],
)
def test_the_referee_swaps_heads_as_people_do(fault: str, told: set[str]) -> None:
    line, site = open_line(), list_sites("two_wire_zone")[0]
    rows = [r for r in line.list_rows("measurements", site) if r["measurement"] == "heads_swapped"]
    row = next(r for r in rows if (r["at"], r["beside"]) == ("det2", "det1"))
    plant = Plant(site, fault, "aged", (3,))
    assert Person(build_world(line, site, fault), plant).read(row) in told


def test_quick_description_can_be_swapped_everywhere() -> None:
    for style in ("two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire", "class_a_zone"):
        loop = wire_quick(style, 3)
        named = [m.at for m in list_measurements(loop) if m.kind == "heads_swapped"]
        assert named == [d.name for d in loop.detectors if find_neighbour(loop, d.name)]
        assert named


def test_two_faults_that_meet_in_one_head_count_once() -> None:
    """Found in a rehearsal: with one in ten an alarm contact stays in its base, and meets the head of a wrong kind."""
    fault = "contact_never_closes@det4,wrong_kind@det3"
    chances = answer(FOUR_WIRE, fault)
    assert sum(chances.values()) == pytest.approx(1.0)
    assert chances["both_places"] > 0.5  # each has taken the other's place
