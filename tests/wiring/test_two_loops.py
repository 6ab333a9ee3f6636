"""Several loops on one panel: what each has of its own, and what they share.

That a short of a power pair takes down every detector on the same output, and that the panel then sees only loops whose
supply is supervised, is the project's own consequence table (design page, section 4); the rest is circuit laws: sources
of their own do not touch each other, one source feeds both. Sites are invented.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnostics.cases import Case, CaseStore, write_site
from diagnostics.circuit import STANDBY, parse_mode, solve_batch
from diagnostics.errors import SourceError
from diagnostics.faults import list_faults, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, list_measurements, parse_measurement, parse_value, predict_mode
from diagnostics.reasoning import rate_symptom
from diagnostics.source import read_document
from diagnostics.visit import (
    assess_case,
    build_bench,
    build_reading,
    list_proof,
    open_case,
    simulate_reading,
    tell_loop,
)
from diagnostics.wiring import EARTH, Loop, Site, apply_edits, build_loop, parse_site, read_site

SITES = find_shipped("cases") / "sites"
HEAD = """
format: ohmward-site/1
name: Two loops (invented)
panel: {profile: panel_24v}
zones:
  zone1: {senses: fire, end_resistor: 4.7 kΩ}
  zone2: {senses: fire, end_resistor: 4.7 kΩ}
  zone3: {senses: co, end_resistor: 2.2 kΩ}
loops:
"""
TWO_WIRE = "  - {{zone: {zone}, style: two_wire_zone, count: {count}, end_resistor: {{resistance: 4.7 kΩ}}}}\n"
FOUR_WIRE = (
    "  - {{zone: {zone}, style: four_wire_zone, count: 3, end_resistor: {{resistance: 4.7 kΩ}}, reset: {reset}}}\n"
)
MODULE = "  - {{zone: {zone}, style: module_two_wire, count: 3, end_resistor: {{resistance: 3.3 kΩ}}, reset: relay}}\n"


def parse(*loops: str) -> Site:
    return parse_site(read_document(HEAD + "".join(loops), "two.yaml"))


def read(name: str) -> Loop:
    return build_loop(read_site(SITES / f"{name}.yaml"))


def show(loop: Loop, faults: str, mode: str = "standby") -> tuple[dict[str, str | None], dict[str, str]]:
    seen = predict_mode(loop, parse_faults(faults, loop), parse_mode(mode, loop))
    return seen.panel, seen.states


def list_dark(loop: Loop, faults: str) -> list[str]:
    return [name for name, state in show(loop, faults)[1].items() if state == "dark"]


def test_detectors_are_numbered_on_from_loop_to_loop() -> None:
    loop = read("hostel")
    assert [[d.name for d in chain.detectors] for chain in loop.chains] == [
        ["det1", "det2", "det3", "det4"],
        ["det5", "det6", "det7"],
    ]
    assert [(chain.start, chain.end, chain.end_relay) for chain in loop.chains] == [
        ("zone1", "end", "endrelay"),
        ("zone2", "end2", "endrelay2"),
    ]


def test_fault_of_one_two_wire_zone_moves_nothing_on_the_other() -> None:
    """Two zones with sources of their own: what the other's field wires do cannot be read here, by Kirchhoff's laws."""
    both = build_loop(parse(TWO_WIRE.format(zone="zone1", count=3), TWO_WIRE.format(zone="zone2", count=2)))
    alone = build_loop(parse(TWO_WIRE.format(zone="zone1", count=3)))
    sound = {(t, s): v for t in alone.meter_points for s, v in [(t, solve_batch(alone, [()], []).volts(*t)[0])]}
    own = {d.name for d in both.chains[1].detectors}
    on_two = [f for f in list_faults(both) if f.place.partition(".")[0] in {*own, "end2", "zone2"}]
    assert len(on_two) > 50
    settled = solve_batch(both, [f.build_edits(both) for f in on_two], [])
    for (pair, _), volts in sound.items():
        if pair[0].startswith(("panel.zone1", "det1.", "det2.", "det3.")):
            np.testing.assert_allclose(settled.volts(*pair), volts, atol=1e-9)


def test_every_fault_of_a_loop_alone_reads_the_same_there_beside_another_loop() -> None:
    """The second loop is a bystander: readings on the first, fault by fault, are those of the first alone."""
    both = build_loop(parse(TWO_WIRE.format(zone="zone1", count=3), TWO_WIRE.format(zone="zone2", count=2)))
    alone = build_loop(parse(TWO_WIRE.format(zone="zone1", count=3)))
    texts = [f.text for f in list_faults(alone) if f.kind != "mains_off"]  # on battery both load the same cells
    moved = {"@panel": "@zone1", "@loop": "@zone1"}
    named = [next((t.replace(a, b) for a, b in moved.items() if t.endswith(a)), t) for t in texts]
    known = {f.text for f in list_faults(both)}
    pairs = [(a, b if b in known else a) for a, b in zip(texts, named, strict=True)]
    assert all(b in known for _, b in pairs), [b for _, b in pairs if b not in known]
    one = solve_batch(alone, [parse_faults(a, alone)[0].build_edits(alone) for a, _ in pairs], [])
    two = solve_batch(both, [parse_faults(b, both)[0].build_edits(both) for _, b in pairs], [])
    for point in (p for p in alone.meter_points if p[0].startswith(("panel.zone1", "det"))):
        np.testing.assert_allclose(one.volts(*point), two.volts(*point), atol=1e-9)


def test_short_of_one_power_pair_takes_every_detector_on_that_output_down() -> None:
    loop = read("hostel")
    panel, states = show(loop, "pair_short@det6.in_power")
    assert [states[d.name] for d in loop.detectors] == ["dark"] * 7
    assert (panel["zone1"], panel["zone2"]) == ("trouble", "trouble")  # both are supervised
    bare = build_loop(
        parse(FOUR_WIRE.format(zone="zone1", reset="relay"), FOUR_WIRE.format(zone="zone2", reset="relay"))
    )
    assert show(bare, "pair_short@det5.in_power")[0] == {"zone1": "normal", "zone2": "normal", "zone3": "trouble"}


def test_load_of_one_loop_on_no_leaves_the_other_fed() -> None:
    loop = read("hostel")
    assert list_dark(loop, "supply_on_no@zone2") == ["det5", "det6", "det7"]
    assert list_dark(loop, "supply_on_no@zone1") == ["det1", "det2", "det3", "det4"]
    assert list_dark(loop, "supply_on_no@reset") == [d.name for d in loop.detectors]


def test_one_relay_resets_both_loops_or_neither() -> None:
    loop = read("hostel")
    for place in ("det2", "det6"):
        zone = "zone1" if place == "det2" else "zone2"
        assert show(loop, "", f"after_reset:{place}")[0][zone] == "normal"
        assert show(loop, "reset_relay_never_operates@reset", f"after_reset:{place}")[0][zone] == "alarm"


@pytest.mark.parametrize(("fault", "zone"), [("end_relay_dead@end", "zone1"), ("end_relay_dead@end2", "zone2")])
def test_supervision_relay_of_a_loop_shows_on_its_own_zone(fault: str, zone: str) -> None:
    panel, _ = show(read("hostel"), fault)
    assert {name for name, state in panel.items() if state == "trouble"} == {zone}


def test_exchanged_zones_show_only_when_somebody_tests() -> None:
    loop = read("hostel")
    assert set(show(loop, "zones_exchanged@panel")[0].values()) == {"normal"}
    panel, _ = show(loop, "zones_exchanged@panel", "alarm:det1")
    assert (panel["zone1"], panel["zone2"]) == ("normal", "alarm")
    bench = Bench(loop, [(), parse_faults("zones_exchanged@panel", loop)])
    test = parse_measurement("functional_test", loop, {"at": "det1"})
    (forecast,) = bench.forecast_all([test])
    assert forecast.chance is not None
    wrong = forecast.chance[:, forecast.tokens.index("reports_wrong_zone")]
    assert wrong[0] < 0.05
    assert wrong[1] > 0.9


def test_the_pair_that_is_lifted_is_the_one_under_the_screws() -> None:
    """With two zones' wires exchanged the screws of one are bare once its pair is lifted, the wires without volts."""
    loop = read("hostel")
    bench = Bench(loop, [(), parse_faults("zones_exchanged@panel", loop)])
    spots = [{"red": f"{at}+", "black": f"{at}-"} for at in ("panel.zone1", "field.zone1")]
    lifted = [parse_measurement("volts", loop, {**spot, "mode": "pair_lifted:zone1"}) for spot in spots]
    means = [forecast.mean for forecast in bench.forecast_all(lifted)]
    (screws_v, bare_v), (wires_v, loose_v) = (mean for mean in means if mean is not None)
    assert bare_v == pytest.approx(screws_v, abs=0.05)
    assert loose_v == pytest.approx(wires_v, abs=0.05)
    assert min(bare_v, screws_v) > loop.zones[0].bands[-1].low_v > max(loose_v, wires_v)


def test_alarm_that_stands_on_one_loop_is_not_in_the_way_of_a_test_on_the_other() -> None:
    loop = read("hostel")
    bench = Bench(loop, [parse_faults("pair_short@det6.in_contact", loop)])
    for name, token in (("det1", "reports_and_clears"), ("det5", "alarm_already")):
        (forecast,) = bench.forecast_all([parse_measurement("functional_test", loop, {"at": name})])
        assert forecast.chance is not None
        assert forecast.tokens[int(forecast.chance[0].argmax())] == token


def test_walk_is_along_one_loop_and_names_only_its_detectors() -> None:
    loop = read("hostel")
    walks = [m for m in list_measurements(loop) if m.kind == "which_dark"]
    assert [(m.at, m.visits) for m in walks] == [("zone1", 4), ("zone2", 3)]
    assert parse_value(walks[1], loop, "det5, det7") == "det5,det7"
    with pytest.raises(Exception, match=r"det1.*no other detector"):
        parse_value(walks[1], loop, "det1")


def test_each_pair_is_metered_lifted_as_its_own_loop_wants() -> None:
    """Ohms through a supervision relay's contact want the detector supply left on (design page, section 5)."""
    loop = read("parish_hall")
    found = {m.red: m.mode.text for m in list_measurements(loop) if m.kind == "ohms" and m.black != EARTH}
    assert found["panel.zone1+"] == "lifted"
    assert found["module.loop+"] == "lifted"
    assert "panel.zone2+" not in found  # a module's output is no field pair to be lifted for ohms
    hostel = {m.red: m.mode.text for m in list_measurements(read("hostel")) if m.kind == "ohms" and m.black != EARTH}
    assert hostel["panel.zone1+"] == hostel["panel.zone2+"] == "lifted_supply_on"


def test_label_of_a_latched_detector_elsewhere_does_not_close_the_modules_output() -> None:
    """A module decodes its own loop only: smoke in the hall must not become an alarm of the boiler house."""
    loop = read("parish_hall")
    panel, _ = show(loop, "", "alarm:det1")
    assert (panel["zone1"], panel["zone2"], panel["zone3"]) == ("alarm", "normal", "normal")
    panel, _ = show(loop, "", "alarm:det5")
    assert (panel["zone1"], panel["zone2"], panel["zone3"]) == ("normal", "normal", "alarm")


def test_in_out_swap_at_the_last_detector_of_a_loop_leaves_the_next_loop_alone() -> None:
    loop = read("hostel")
    moved = apply_edits(loop, parse_faults("in_out_swapped@det4", loop)[0].build_edits(loop))
    changed = {e.name for e in moved.elements} ^ {e.name for e in loop.elements}
    wires = [e.name for e in moved.elements if e != loop.by_name.get(e.name)]
    assert wires == ["wire.det4.in+"]
    assert not changed


def test_complaint_about_a_loop_is_rated_on_that_loop() -> None:
    loop = read("hostel")
    bench = Bench(
        loop, [(), parse_faults("end_resistor_missing@end", loop), parse_faults("end_resistor_missing@end2", loop)]
    )
    first, second = (rate_symptom(bench.look_at(zone), "constant_trouble") > 0.5 for zone in ("zone1", "zone2"))
    assert first.tolist() == [False, True, False]
    assert second.tolist() == [False, False, True]
    assert (rate_symptom(bench, "constant_trouble") > 0.5).tolist() == [False, True, True]


def visit(site: Site, hidden: str, zone: str, url: str) -> tuple[str, Case]:
    """Follow the suggestions until they end; return what is held likeliest, and the case."""
    case = Case(site, write_site(site), contexts=("new",), symptom="constant_trouble")
    with CaseStore(url) as store:
        case = tell_loop(store, open_case(store, case), zone)
    for step in range(12):
        assessment = assess_case(case)
        action = assessment.diagnosis.next
        if action is None or action.measurement is None:
            break
        text = simulate_reading(build_bench(site).loop, hidden, action.measurement)
        case = replace(case, readings=(*case.readings, build_reading(action.measurement, text, f"r{step}")))
    leader = assess_case(case).diagnosis.candidates[0]
    return ",".join(f.text for f in leader.faults), case


@pytest.mark.parametrize(
    ("hidden", "zone"),
    [("end_resistor_missing@end2", "zone2"), ("supply_on_no@zone2", "zone2"), ("conductor_open@det3.in_a", "zone1")],
)
def test_fault_is_found_on_the_loop_that_it_is_on(hidden: str, zone: str, tmp_path: Path) -> None:
    site = read_site(SITES / "hostel.yaml")
    found, case = visit(site, hidden, zone, f"sqlite:///{tmp_path / 'cases.sqlite3'}")
    loop = build_loop(site)
    same = {f.text for f in list_faults(loop) if f.repair_class == parse_faults(hidden, loop)[0].repair_class}
    assert found in same
    far = {item.at for item in list_proof(case, loop) if "farthest" in item.reasons}
    assert far == {loop.focus(zone).chains[0].last.name}, "the loop that was repaired"


@pytest.mark.parametrize(
    ("loops", "words"),
    [
        ((TWO_WIRE.format(zone="zone1", count=1),) * 2, "zone 'zone1' has two loops"),
        ((MODULE.format(zone="zone1"), MODULE.format(zone="zone2")), "two modules on one panel"),
        (
            (FOUR_WIRE.format(zone="zone1", reset="relay"), FOUR_WIRE.format(zone="zone2", reset="always_on")),
            "write the same 'reset'",
        ),
        ((TWO_WIRE.format(zone="zone1", count=100), TWO_WIRE.format(zone="zone2", count=29)), "129 detectors on all"),
    ],
)
def test_loops_that_cannot_stand_beside_each_other_are_refused_with_a_reason(
    loops: tuple[str, ...], words: str
) -> None:
    with pytest.raises(SourceError) as refused:
        parse(*loops)
    assert words in str(refused.value.findings[0])
    assert refused.value.findings[0].line == 10


def test_standby_of_both_demo_sites_is_quiet() -> None:
    for name in ("hostel", "parish_hall"):
        assert set(predict_mode(read(name), (), STANDBY).panel.values()) == {"normal"}
