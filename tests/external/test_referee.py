"""The referee: its solver, its worlds, its own circuits, its people, and whole visits that it counts.

Outside world: ngspice for the arithmetic; for the wiring, circuits of class A, dry contacts and two loops that the
referee writes from words, against ``predict``, which comes from the engine's own. Spreads and minutes are *invented*.
"""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from diagnostics.referee import (
    Line,
    NeverSettlesError,
    Plant,
    Row,
    World,
    build_world,
    draw_plant,
    play_visit,
    read_spreads,
)
from diagnostics.referee.answers import Person, find_answer, write_spot
from diagnostics.referee.line import SITES
from diagnostics.referee.meter import read_volts
from diagnostics.referee.panel import mode_states, zones_show
from diagnostics.referee.people import find_complaint, find_lamps, find_tested
from diagnostics.referee.plants import STYLES, list_sites
from diagnostics.referee.rounds import find_round_minutes
from diagnostics.referee.score import has_right_hands
from diagnostics.referee.solver import solve_parts
from diagnostics.referee.watches import find_earth_word, find_logged, find_supply_word
from diagnostics.referee.world import is_conducting
from tests.external.referee_line import ROOT, ask, find_differences, list_differences, open_line

UNDRAWN = (  # places drawn once, by hand
    ("rope_works", "polarity_reversed@det3", "det5"),  # two-wire, one-way heads
    ("music_school", "conductor_open@det4.in-", "det6"),  # switched minus
    ("tide_mill", "zone_settings_exchanged@panel", "det2"),  # module, two-wire, smoke and CO
    ("print_shop", "outputs_exchanged@module", "det3"),  # module, four-wire, smoke and CO
    ("dairy_barn", "end_resistor_missing@end_co", "det4"),  # module on a separate supply
    ("ferry_pier", "polarity_reversed@zone1r", "det2"),  # class A; from here on circuits of the referee's own
    ("weaving_shed", "conductor_open@zone1r.in+", "det8"),
    ("bottling_hall", "pair_short@det3.in_contact", "det1"),  # dry contacts: a short is no alarm
    ("malt_house", "end_resistor_before_end@det2", "det3"),
    ("twin_barns", "supply_on_no@zone2", "det2"),  # two loops on one supply
    ("twin_barns", "zones_exchanged@panel", "det6"),
    ("twin_barns", "reset_too_short@panel", "det5"),
    ("ferry_pier", "zone_feed_resistive=3000@zone1", "det2"),
    ("malt_house", "zone_input_leaks=1000@zone1", "det1"),
    ("twin_barns", "zone_feed_resistive=3000@zone2", "det6"),
)
UNDRAWN_EARTH = (  # what lies at the battery, and what touches earth or another loop; with the modes that tell of it
    ("ferry_pier", "earth_fault=700@det4.in+", "opened:det3"),
    ("ferry_pier", "earth_fault=5000@panel.battery-", "pair_lifted:zone1"),
    ("bottling_hall", "earth_fault=20000@det3.in_b", "opened:det2"),
    ("twin_barns", "earth_fault=300@det6.in+", "pair_lifted:det5.in_power"),
    ("twin_barns", "touches_other_loop@det1.in_a.det5.in_b", "standby"),
    ("twin_barns", "mains_off@panel", "alarm:det2"),
    ("weaving_shed", "battery_dead@panel", "on_battery"),
    ("malt_house", "battery_disconnected@panel", "on_battery"),
    ("ferry_pier", "charger_low@panel", "on_battery"),
)
TOLD_BESIDE_ZONES = (  # complaint, supply, earth, log
    ("bottling_hall", "healthy", (None, "right", "right", "nothing")),
    ("bottling_hall", "mains_off@panel", ("supply_trouble", "mains_trouble", "right", "supply_trouble")),
    ("twin_barns", "battery_dead@panel", ("supply_trouble", "battery_trouble", "right", "supply_trouble")),
    ("ferry_pier", "battery_disconnected@panel", ("supply_trouble", "battery_trouble", "right", "supply_trouble")),
    ("malt_house", "charger_low@panel", ("supply_trouble", "battery_trouble", "right", "supply_trouble")),
    ("ferry_pier", "earth_fault=2000@det2.in-", ("earth_trouble", "right", "earth_trouble", "earth_trouble")),
    ("twin_barns", "conductor_open@det2.in_a", ("constant_trouble", "right", "right", "trouble_only")),
)


def site_named(stem: str) -> Path:
    return next(site for site in SITES if site.stem == stem)


def build_exact(stem: str, fault: str = "healthy") -> World:
    return build_world(open_line(), site_named(stem), fault)


def solve_by_ngspice(parts: list[Row], folder: Path) -> dict[str, float]:
    """Return the volts of a circuit by ngspice, every part written as a resistor or a table of its own."""
    names = {name: f"t{n}" for n, name in enumerate({p[end] for p in parts for end in ("a", "b")} - {"earth"})}
    node = names | {"earth": "0"}
    lines = []
    for n, part in enumerate(parts):
        ends = f"{node[part['a']]} {node[part['b']]}"
        if part.get("value") is not None:
            lines.append(f"R{n} {ends} {part['value']!r}")
            continue
        (v0, i0), (v1, i1) = part["points"][0], part["points"][-1]
        far = [[v0 - 1000, i0 - 1000 * part["before_s"]], *part["points"], [v1 + 1000, i1 + 1000 * part["after_s"]]]
        table = ", ".join(f"{v!r},{i!r}" for v, i in far)
        lines.append(f"B{n} {ends} I=pwl(V({ends.replace(' ', ',')}), {table})")
    options = ".options gmin=1e-15 reltol=1e-9 abstol=1e-16 vntol=1e-10 itl1=2000"
    control = ".control\nset numdgt=12\nop\nprint all\nquit\n.endc\n.end\n"
    (folder / "circuit.cir").write_text("\n".join(["a circuit", *lines, options, control]), encoding="ascii")
    words = ["ngspice", "-b", "circuit.cir"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, timeout=60, check=False)
    table_v = dict(re.findall(r"^(t\d+) = (\S+)$", done.stdout, flags=re.MULTILINE))
    return {name: float(table_v[number]) for name, number in names.items()}


@pytest.mark.parametrize(
    ("stem", "fault", "mode"),
    [
        ("rope_works", "joint_resistive=300@det4.in+", "alarm:det6"),
        ("print_shop", "leak=2k@det3.in_contact", "standby"),
        ("weaving_shed", "conductor_open@det3.in+", "alarm:det6"),
    ],
)
def test_the_solver_finds_what_ngspice_finds_at_every_terminal(
    ngspice: str, tmp_path: Path, stem: str, fault: str, mode: str
) -> None:
    assert ngspice
    world = build_world(open_line(), site_named(stem), fault, (7, 1))
    states = mode_states(world, mode)
    parts = [part for part in world.parts if is_conducting(part, states)]
    ours, theirs = solve_parts(parts), solve_by_ngspice(parts, tmp_path)
    assert len(theirs) > 40
    assert {name: ours[name] for name in theirs} == pytest.approx(theirs, rel=1e-6, abs=1e-5)


@pytest.mark.parametrize(("stem", "fault", "detector"), UNDRAWN)
def test_states_and_volts_of_an_undrawn_world_are_the_predicted_ones(stem: str, fault: str, detector: str) -> None:
    assert find_differences(site_named(stem), fault, detector) == []


@pytest.mark.parametrize(("stem", "fault", "mode"), UNDRAWN_EARTH)
def test_earths_and_faults_of_the_battery_are_the_predicted_ones(stem: str, fault: str, mode: str) -> None:
    assert find_differences(site_named(stem), fault, "det2", ("standby", mode)) == []


@pytest.mark.parametrize(("stem", "fault", "told"), TOLD_BESIDE_ZONES)
def test_what_the_panel_says_beside_its_zones(stem: str, fault: str, told: tuple[str | None, str, str, str]) -> None:
    world = build_exact(stem, fault)
    said = (find_supply_word(world), find_earth_word(world, "standby"), find_logged(world))
    assert (find_complaint(world), *said) == told


@pytest.mark.parametrize(
    ("mode", "word"),
    [
        ("standby", "earth_trouble"),
        ("pair_lifted:zone1", "earth_trouble"),
        ("pair_lifted:zone2", "right"),
        ("opened:det5", "right"),
        ("opened:det6", "earth_trouble"),
    ],
)
def test_an_earth_clears_once_its_run_is_off_the_panel(mode: str, word: str) -> None:
    assert find_earth_word(build_exact("twin_barns", "earth_fault=300@det6.in_a"), mode) == word


def test_a_class_a_loop_opened_before_an_earth_is_fed_from_behind_and_keeps_it() -> None:
    world = build_exact("ferry_pier", "earth_fault=300@det4.in+")
    assert find_earth_word(world, "opened:det3") == "earth_trouble"


@pytest.mark.parametrize("stem", ["theatre", "granary"])
def test_heads_that_pass_a_little_when_dark_and_runs_of_their_own_lengths_are_as_predicted(stem: str) -> None:
    site = ROOT / "cases" / "sites" / f"{stem}.yaml"
    assert find_differences(site, "healthy", "det2", ("standby", "lifted", "alarm:det2")) == []


def test_where_nobody_knows_the_order_the_dark_ones_are_counted() -> None:
    site = ROOT / "cases" / "sites" / "chapel_school.yaml"
    plant = Plant(site, "conductor_open@det3.in+", "new", (1,))
    row = next(r for r in open_line().list_rows("measurements", site) if r["measurement"] == "how_many_dark")
    assert find_answer(build_world(open_line(), site, plant.fault), plant, row) == "5"


def test_a_planted_difference_is_found() -> None:
    told = ask("predict", str(site_named("ferry_pier")), "--fault", "end_resistor_missing@end")
    found = list_differences(build_exact("ferry_pier"), "standby", told)
    assert any("panel zone1: normal, trouble" in text for text in found)
    assert any("volts" in text for text in found)


def test_class_a_feeds_from_both_ends_after_an_open_and_still_reports() -> None:
    world = build_exact("ferry_pier", "conductor_open@det4.in+")
    states = mode_states(world, "standby")
    assert (zones_show(world, states), find_lamps(world, states, "dark")) == ({"zone1": "trouble"}, "none")
    assert {find_tested(world, f"det{n}") for n in (2, 5)} == {"reports_and_clears"}


def test_a_smoke_detector_on_exchanged_outputs_reports_on_the_wrong_zone() -> None:
    faults = ("healthy", "outputs_exchanged@module", "zone_kind_wrong@zone1", "two_detector_rule@zone1")
    words = [find_tested(build_exact("tide_mill", fault), "det1") for fault in faults]
    assert words == ["reports_and_clears", "reports_wrong_zone", "reports_wrong_zone", "no_report"]


def test_an_output_that_gives_way_under_one_alarm_never_settles_here_nor_there(tmp_path: Path) -> None:
    site, fault = tmp_path / "one_head.yaml", "output_overloaded@panel"
    five = site_named("boat_yard").read_text(encoding="utf-8")
    site.write_text(five.replace("count: 5", "count: 1"), encoding="utf-8")
    world = build_world(open_line(), site, fault)
    with pytest.raises(NeverSettlesError):
        mode_states(world, "alarm:det1")
    told = ask("predict", str(site), "--fault", fault, "--mode", "alarm:det1")
    assert told["never_settles"] == ["det1.latched"]
    assert list_differences(world, "alarm:det1", told) == []
    assert list_differences(world, "alarm:det1", told | {"never_settles": []}) != []


def test_a_repaired_world_is_the_same_world_without_the_fault() -> None:
    line, site, seed = open_line(), site_named("malt_house"), (5, 2)
    faulty, sound = (build_world(line, site, f, seed) for f in ("joint_resistive=500@det2.in_a", "healthy"))
    changed = [a["name"] for a, b in zip(faulty.parts, sound.parts, strict=True) if a != b]
    assert changed == ["wire.det2.in_a"]
    assert sound.parts != build_world(line, site, "healthy", (5, 3)).parts


def test_worlds_vary_what_the_engine_holds_for_certain() -> None:
    """Contacts, insulation, dark heads and windows have no spread in ``export``; here no two worlds agree in them."""
    exact = {part["name"]: part["value"] for part in build_exact("bottling_hall").parts if "value" in part}
    worlds = [build_world(open_line(), site_named("bottling_hall"), "healthy", (1, n)) for n in range(2)]
    for name in ("strip.det2_a", "landing.zone1+", "leak.det3.in_a"):
        first, second = (next(p["value"] for p in world.parts if p["name"] == name) for world in worlds)
        assert len({first, second, exact[name]}) == 3
    assert len({tuple(w["high"] for w in world.windows["zone1"]) for world in worlds}) == 2
    assert any(part["name"] == "leaks.wire.det2.in_a" for part in worlds[0].parts)


def build_person(slips: float, seed: tuple[int, ...] = (3, 1)) -> Person:
    wide = read_spreads().with_slips(slips, 0.0)
    plant = Plant(site_named("ferry_pier"), "conductor_open@det3.in+", "aged", seed)
    return Person(build_world(open_line(), plant.site, plant.fault, seed, wide), plant)


def test_half_of_those_who_overlooked_it_find_it_when_they_look_again() -> None:
    """In worlds as wide as the engine believes nobody does: it holds a second look for the first."""
    rows = open_line().list_rows("measurements", site_named("ferry_pier"))
    (look,) = (row for row in rows if row["measurement"] == "look" and row["at"] == "det3")
    again, believed = [], []
    for n in range(150):
        person = build_person(0.0, (3, n))
        if person.read(look) != "as_it_should_be":
            assert person.read(look) != "as_it_should_be"
            continue
        again.append(person.read(look) != "as_it_should_be")
        stubborn = person.world.spreads.model_copy(update={"looks_again": 0.0})
        world = build_world(open_line(), person.plant.site, person.plant.fault, (3, n), stubborn)
        other = Person(world, person.plant)
        believed += [other.read(look) for _ in range(2)]
    assert len(again) > 60  # seven in ten overlook a wire that is off
    assert 0.35 < sum(again) / len(again) < 0.65
    assert set(believed) == {"as_it_should_be"}


def test_a_careful_person_reads_what_is_there_and_a_careless_one_never_does() -> None:
    rows = [
        r for r in open_line().list_rows("measurements", site_named("ferry_pier")) if r["mode"] in ("standby", "lifted")
    ]
    careful, careless = build_person(0.0), build_person(1.0)
    right = [find_answer(careful.world, careful.plant, row) for row in rows]
    assert [careful.read(row) for row in rows] == right
    wrong = [careless.read(row) for row in rows]
    assert careful.slipped == []
    assert sum(a != b for a, b in zip(right, wrong, strict=True)) == len(careless.slipped) > len(rows) // 2


def test_two_ways_of_working_meet_the_same_slips() -> None:
    rows = open_line().list_rows("measurements", site_named("ferry_pier"))[:14]
    one, other = build_person(0.3), build_person(0.3)
    forwards = {write_spot(row): one.read(row) for row in rows}
    assert {write_spot(row): other.read(row) for row in reversed(rows)} == forwards


def test_the_minutes_of_a_test_are_those_of_the_repair_and_of_nothing_else() -> None:
    world = build_exact("twin_barns")
    assert find_round_minutes(world, "panel") < find_round_minutes(world, "run det2")
    assert find_round_minutes(world, "run det2") == find_round_minutes(world, "det2")


@pytest.mark.parametrize(
    ("fault", "remedy", "place", "is_right"),
    [
        ("conductor_open@det4.in_a", "mend_conductor", "run det4", True),
        ("conductor_open@det4.in_a", "mend_conductor", "run det5", False),
        ("conductor_open@det4.in_a", "swap_detector", "run det4", False),
        ("touches_other_loop@det1.in_b.det5.in_a", "mend_insulation", "run det1", True),
        ("touches_other_loop@det1.in_b.det5.in_a", "mend_insulation", "run det5", True),
        ("touches_other_loop@det1.in_b.det5.in_a", "mend_insulation", "run det2", False),
        ("earth_fault=400@det3.in+", "mend_insulation", "run det3", True),
        ("reset_not_assigned@panel", "mend_reset_output", "reset", True),
        ("end_resistor_missing@end2", "fit_end_resistor", "end2", True),
        ("end_resistor_missing@end2", "fit_end_resistor", "end", False),
    ],
)
def test_a_repair_is_right_only_at_the_planted_part(fault: str, remedy: str, place: str, *, is_right: bool) -> None:
    plant = Plant(site_named("twin_barns"), fault, "new", (0,))
    assert has_right_hands(open_line(), plant, remedy, place) is is_right


@pytest.mark.parametrize("style", STYLES)
def test_every_style_has_a_site_and_plants_drawn_by_seed_alone(style: str) -> None:
    line = open_line()
    assert list_sites(style)
    drawn = [draw_plant(line, style, (9, n)).text for n in range(8)]
    assert drawn == [draw_plant(line, style, (9, n)).text for n in range(8)]
    assert len(set(drawn)) > 4


@pytest.mark.parametrize(
    ("stem", "fault", "policy"),
    [
        ("ferry_pier", "end_resistor_missing@end", "ours"),
        ("twin_barns", "aux_dead@panel", "ours"),
        ("malt_house", "conductor_open@det2.in_b", "half"),
        ("tide_mill", "module_dead@module", "guide"),
        ("pump_house", "relay_held@reset", "cheapest"),
        ("rope_works", "earth_fault=400@det4.in-", "ours"),
        ("bottling_hall", "earth_fault=900@det3.in_a", "half"),
        ("malt_house", "battery_disconnected@panel", "ours"),
        ("twin_barns", "mains_off@panel", "cheapest"),
    ],
)
def test_a_visit_of_careful_people_ends_restored_and_tested(stem: str, fault: str, policy: str) -> None:
    """One repair, the right one: settled, or nearly so where no reading could save the minutes that it takes."""
    plant = Plant(site_named(stem), fault, "new", (4, 2))
    visit = play_visit(open_line(), plant, policy, read_spreads().with_slips(0.0, 0.0))
    tried_early = fault == "earth_fault=900@det3.in_a"
    assert (visit.ended, visit.right) == ("restored", None if tried_early else True)
    assert [step.action for step in visit.steps if step.action != "measure"] == ["repair", "test"]
    assert [step.result for step in visit.steps][-2:] == ["the planted fault", "right"]
    assert visit.minutes == pytest.approx(sum(step.minutes for step in visit.steps))


def test_nobody_restores_a_loop_sooner_than_one_who_knows_what_was_planted() -> None:
    plant = Plant(site_named("malt_house"), "conductor_open@det2.in_b", "new", (4, 2))
    visits = [play_visit(open_line(), plant, policy) for policy in ("knowing", "ours")]
    assert [visit.ended for visit in visits] == ["restored", "restored"]
    assert [step.action for step in visits[0].steps] == ["repair", "test"]
    measured = sum(s.minutes for s in visits[1].steps if s.action == "measure")
    assert visits[0].minutes == pytest.approx(visits[1].minutes - measured)


def test_a_repair_that_did_not_cure_is_told_and_the_visit_goes_on() -> None:
    """The engine is made to settle on the wrong run once; the tests find it out and the next diagnosis knows of it."""
    told = list[str]()

    def ask_misled(words: Sequence[str], text: str) -> Row:
        if words[0] == "diagnose":
            told.append(text)
        answer = open_line().ask(words, text)
        if words[0] != "diagnose" or len(told) > 1:
            return answer
        return answer | {"settled": True, "verdict": {"remedy": "mend_conductor", "place": "run det3"}}

    plant = Plant(site_named("malt_house"), "end_resistor_missing@end", "new", (4, 2))
    visit = play_visit(Line(ask_misled), plant, "ours", read_spreads().with_slips(0.0, 0.0))
    assert (visit.right, visit.ended) == (False, "restored")
    assert [s.result for s in visit.steps if s.action == "test"] == ["constant_trouble", "right"]
    assert '"mend_conductor@run det3"' in told[1]


def test_the_meter_loads_what_it_reads() -> None:
    world = build_exact("bottling_hall", "conductor_open@det2.in_a")
    bare, loaded = (
        read_volts(world, "standby", "det2.in_a", "det2.in_b", by_meter=by_meter) for by_meter in (False, True)
    )
    assert abs(bare) < 1e-6
    assert read_volts(world, "standby", "panel.zone1+", "panel.zone1-") < 24.0
    assert abs(loaded) < 1e-6
