"""Defects that the referee's worlds brought to light, each as the smallest case that shows it; mended, or marked.

Outside world: none needed. Every reading here is the program's own prediction of the planted fault, as an instrument
without error would show it; a verdict of another remedy or place contradicts the program itself. A mark is strict: when
its defect is mended the test fails as *unexpectedly passed*, and the mark is to go.
"""

from pathlib import Path

import pytest

from diagnostics.referee import STYLES, Plant, Row, build_world, list_sites, mode_states
from diagnostics.referee.answers import find_end
from diagnostics.referee.line import SITES as OWN_SITES
from diagnostics.referee.panel import panel_shows
from diagnostics.referee.visit import build_case
from tests.external.referee_line import ROOT, ask, open_line

SITES = ROOT / "cases" / "sites"

Wanted = tuple[str, str, str]  # measurement; red lead, or zone; mode


def read_predicted(site: Path, fault: str, wanted: Wanted) -> Row:
    """Return one reading as the program predicts it for a fault."""
    what, where, mode = wanted
    told = ask("predict", str(site), "--fault", fault, "--mode", mode)
    if what == "panel_shows":
        at = where if len(told["panel"]) > 1 else "panel"
        return {"measurement": what, "at": at, "mode": mode, "value": told["panel"][where]}
    if what == "which_dark":
        dark = [name for name, word in told["states"].items() if word == "dark"]
        return {"measurement": what, "at": "loop", "mode": mode, "value": ",".join(dark) or "none"}
    row = next(r for r in told["readings"] if r["measurement"] == what and r["red"] == where)
    value = f"{row['value']} {row['unit']}"
    return {"measurement": what, "red": where, "black": row["black"], "mode": mode, "value": value}


def diagnose_predicted(stem: str, fault: str, context: str, symptom: str, wanted: tuple[Wanted, ...]) -> Row:
    """Return the diagnosis of a site's own predictions."""
    site = SITES / f"{stem}.yaml"
    plant = Plant(site, fault, context, (0, 0))
    return ask("diagnose", "-", text=build_case(plant, symptom, [read_predicted(site, fault, w) for w in wanted]))


OTHER_PLACE = (
    pytest.param(
        ("bench_two_wire_oneway", "joint_resistive=6.8k@det1.in-", "new", "constant_trouble"),
        (("which_dark", "loop", "standby"), ("volts", "det4.in+", "standby")),
        ("mend_conductor", "run det1"),
        id="a bad joint whose value leaves some lamps just lit",
    ),
    pytest.param(
        ("bench_two_wire", "leak=550@det3.in", "aged", "alarm_with_nothing_there"),
        (("volts", "panel.zone1+", "standby"), ("ohms", "panel.zone1+", "lifted")),
        ("mend_conductor", "run det3"),
        id="a leak between two listed values, which in parallel to the end resistor looks like a wrong one",
    ),
    pytest.param(
        ("bench_module_two_wire", "panel_resistor_wrong=680@module.fire", "new", "constant_trouble"),
        (
            ("volts", "module.loop+", "standby"),
            ("panel_shows", "zone1", "standby"),
            ("volts", "module.fire+", "standby"),
        ),
        ("fit_panel_resistor", "module.fire"),
        id="a common resistor that is not in the list of wrong ones",
    ),
    pytest.param(
        ("bench_module_two_wire", "panel_resistor_wrong=470@module.fire", "aged", "alarm_with_nothing_there"),
        (("volts", "module.loop+", "standby"), ("panel_shows", "zone1", "standby")),
        ("fit_panel_resistor", "module.fire"),
        id="one cheap reading at the zone was never taken",
    ),
    pytest.param(
        ("bench_two_wire", "zone_resistor_setting@zone1", "water", "constant_trouble"),
        (("volts", "panel.zone1+", "standby"), ("panel_shows", "zone1", "standby")),
        ("set_zone_right", "zone1"),
        id="the settings were never reviewed before a board is replaced",
    ),
)


@pytest.mark.parametrize(("case", "wanted", "right"), OTHER_PLACE)
def test_readings_that_fit_the_planted_fault_never_settle_another(
    case: tuple[str, str, str, str], wanted: tuple[Wanted, ...], right: tuple[str, str]
) -> None:
    stem, fault, context, symptom = case
    verdict = diagnose_predicted(stem, fault, context, symptom, wanted)["verdict"]
    assert verdict is None or (verdict["remedy"], verdict["place"]) == right


def test_a_missing_end_resistor_is_seen_where_its_pair_ends() -> None:
    site = SITES / "bench_module_four_wire.yaml"
    plant = Plant(site, "end_resistor_missing@end_fire", "new", (0, 0))
    assert find_end(open_line(), plant) == "det3"
    look = {"measurement": "look", "at": "det3", "mode": "standby", "value": "resistor_missing"}
    told = ask("diagnose", "-", text=build_case(plant, "constant_trouble", [look]))
    assert told["contradiction"] is None
    assert told["candidates"][0]["fault"] == "end_resistor_missing@end_fire"


def test_a_loop_near_a_bound_of_the_module_stays_in_the_running_either_way() -> None:
    fault, site = "end_resistor_twice@end", SITES / "bench_module_two_wire.yaml"
    told = ask("predict", str(site), "--fault", fault, "--at", "module.loop+,module.loop-")["readings"][0]
    circuit = ask("export", str(site))["module"][0]
    normal_from_v = next(band["low"] for band in circuit["bands"] if band["band"] == "normal")
    assert 0 < told["ideal"] - normal_from_v < told["sd"]  # one time in four the module sees trouble
    shown = [
        {"measurement": "panel_shows", "at": zone, "mode": "standby", "value": "trouble"} for zone in ("zone1", "zone2")
    ]
    plant = Plant(site, fault, "new", (0, 0))
    left = ask("diagnose", "-", text=build_case(plant, "constant_trouble", shown))["candidates"]
    assert fault in [row["fault"] for row in left]


def test_a_leak_between_two_listed_values_is_not_settled_as_another_fault() -> None:
    site, fault = SITES / "bench_module_two_wire.yaml", "leak=780@det2.in"
    wanted = (
        ("panel_shows", "zone1", "standby"),
        ("volts", "module.loop+", "standby"),
        ("volts", "det3.out+", "standby"),
    )
    shown = [read_predicted(site, fault, each) for each in wanted]
    states = ask("predict", str(site), "--fault", fault, "--mode", "head_off:det4")["states"]
    dark = ",".join(name for name, word in states.items() if word == "dark" and name not in ("det4", "module"))
    shown.append({"measurement": "dark_with_head_off", "at": "det4", "mode": "head_off:det4", "value": dark})
    plant = Plant(site, fault, "new", (0, 0))
    verdict = ask("diagnose", "-", text=build_case(plant, "alarm_with_nothing_there", shown))["verdict"]
    assert verdict is None or (verdict["remedy"], verdict["place"]) == ("mend_conductor", "run det2")


def test_ohms_of_a_bare_pair_the_other_way_round_are_not_counted_twice() -> None:
    """Found with a short on the run into detector 1: a longer run and two digits too many read like the next run."""
    site, fault = next(path for path in OWN_SITES if path.stem == "music_school"), "pair_short@det1.in_contact"
    zone = {"measurement": "volts", "red": "panel.zone1+", "black": "panel.zone1-", "mode": "standby", "value": "12 mV"}
    ohms = {"measurement": "ohms", "mode": "lifted_supply_on", "value": "0.8 ohm"}
    one = {**ohms, "red": "panel.zone1+", "black": "panel.zone1-"}
    other = {**ohms, "red": "panel.zone1-", "black": "panel.zone1+"}
    plant = Plant(site, fault, "new", (0, 0))
    told = [
        ask("diagnose", "-", text=build_case(plant, "alarm_with_nothing_there", taken))["candidates"]
        for taken in ([zone, one], [zone, one, other])
    ]
    once, twice = ({c["fault"]: c["probability"] for c in rows}[fault] for rows in told)
    assert twice > 0.8 * once


def test_a_series_resistor_three_percent_low_leaves_a_stuck_contact_in_the_running() -> None:
    """Found at the bottling hall: a stuck contact was taken for a leak, and three runs were mended for nothing."""
    site, fault = SITES / "bench_dry_contacts.yaml", "detector_stuck@det4"
    ohm = float(read_predicted(site, fault, ("ohms", "panel.zone1+", "lifted"))["value"].split()[0])
    taken = [
        {"measurement": "panel_shows", "at": "panel", "mode": "standby", "value": "alarm"},
        {**lift_zone(), "value": f"{0.97 * ohm:.1f} ohm"},
    ]
    left = ask("diagnose", "-", text=build_case(Plant(site, fault, "new", (0,)), "alarm_with_nothing_there", taken))
    assert sum(c["probability"] for c in left["candidates"] if c["kind"] == "detector_stuck") > 0.1


def test_half_an_ohm_of_corroded_joints_leaves_a_short_in_the_running_where_it_is() -> None:
    """Found at the bottling hall: the runs beyond the short were opened, and the short one never was."""
    site, fault = SITES / "bench_dry_contacts.yaml", "pair_short@det2.in_contact"
    ohm = float(read_predicted(site, fault, ("ohms", "panel.zone1+", "lifted"))["value"].split()[0])
    taken = [
        {"measurement": "panel_shows", "at": "panel", "mode": "standby", "value": "trouble"},
        {**lift_zone(), "value": f"{ohm + 0.6:.1f} ohm"},
    ]
    left = ask("diagnose", "-", text=build_case(Plant(site, fault, "aged", (0,)), "constant_trouble", taken))
    assert sum(c["probability"] for c in left["candidates"] if c["fault"] == fault) > 0.1


def lift_zone() -> Row:
    """Return ohms at the lifted pair of the one zone, without the value."""
    return {"measurement": "ohms", "red": "panel.zone1+", "black": "panel.zone1-", "mode": "lifted"}


def test_a_tenth_of_a_volt_more_across_a_one_way_path_leaves_the_short_beyond_it_in_the_running() -> None:
    """Found at the rope works: the short was beyond the first head, and the run before it was mended three times."""
    site, fault = SITES / "bench_two_wire_oneway.yaml", "pair_short@det2.in"
    told = ask("predict", str(site), "--fault", fault)["readings"]
    ideal_v = {row["red"]: row["ideal"] for row in told if row["measurement"] == "volts"}
    taken = [
        {"measurement": "volts", "red": f"{at}+", "black": f"{at}-", "mode": "standby", "value": f"{v:.3f} V"}
        for at, v in ((at, ideal_v[f"{at}+"] + 0.1) for at in ("panel.zone1", "det1.in"))
    ]
    left = ask("diagnose", "-", text=build_case(Plant(site, fault, "new", (0,)), "alarm_with_nothing_there", taken))
    assert sum(c["probability"] for c in left["candidates"] if c["fault"] == fault) > 0.1


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("fault", ["zone_feed_resistive=3000@zone1", "zone_input_leaks=1000@zone1"])
def test_a_zone_with_a_worn_input_or_feed_is_fed_all_the_same(style: str, fault: str) -> None:
    """Found in a visit whose panel showed nothing: the referee looked for the source at the terminal itself."""
    site = list_sites(style)[0]
    world = build_world(open_line(), site, fault)
    shown = panel_shows(world, mode_states(world, "standby"), "zone1")
    assert shown == ask("predict", str(site), "--fault", fault)["panel"]["zone1"]
    assert shown in {"trouble", "alarm"}
