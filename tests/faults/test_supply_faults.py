"""Faults of mains, battery, charger, coil and cable, each by its tell-tale (design page, section 4).

The row *battery dead, mains on: right on mains, collapses on battery under load* is the project's own consequence
table; that a panel tries its battery by itself is common practice, no source. Part values are invented.
"""

import numpy as np
import pytest

from diagnostics.circuit import parse_mode
from diagnostics.faults import list_faults, parse_faults, read_catalogue
from diagnostics.readings import Bench, find_leads, list_measurements, parse_measurement, parse_value, predict_mode
from diagnostics.reasoning import rate_symptom
from diagnostics.units import copper_resistance_ohm_per_m, parse_gauge
from diagnostics.wiring import Loop, QuickDescription, apply_edits, build_loop, build_quick_site
from tests.wiring.quick import wire_quick

STYLES = ("two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire")
BATTERY = ("panel.battery+", "panel.battery-")
SUPPLY_FAULTS = ("mains_off@panel", "battery_dead@panel", "battery_disconnected@panel", "charger_low@panel")


def show(loop: Loop, fault: str, mode: str = "standby") -> dict[str, str | None]:
    """Return what each zone shows."""
    return predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop)).panel


def read_volts(loop: Loop, fault: str, red: str, mode: str = "standby") -> float:
    """Return the volts at a red lead's terminal, as predicted for its own black lead."""
    found = predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop)).readings
    return next(r.value for r in found if r.measurement.red == red)


def answer(loop: Loop, fault: str, kind: str, at: str = "panel") -> str:
    """Return the likeliest answer to a measurement in words."""
    m = parse_measurement(kind, loop, {"at": at})
    (forecast,) = Bench(loop, [(), parse_faults(fault, loop)]).forecast_all([m])
    assert forecast.chance is not None
    assert np.allclose(forecast.chance.sum(axis=1), 1.0)
    return forecast.tokens[int(np.argmax(forecast.chance[1]))]


@pytest.mark.parametrize("style", STYLES)
def test_sound_panel_shows_the_same_on_battery_as_on_mains(style: str) -> None:
    loop = wire_quick(style, 4)
    assert show(loop, "", "on_battery") == show(loop, "") == {z.name: "normal" for z in loop.zones}
    assert answer(loop, "", "supply_lamps") == "right"
    assert answer(loop, "", "event_log") == "nothing"


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("fault", SUPPLY_FAULTS)
def test_supply_fault_leaves_the_zones_right_and_shows_on_the_lamps_of_the_supply(style: str, fault: str) -> None:
    loop = wire_quick(style, 4)
    assert show(loop, fault) == show(loop, "")
    expected = "mains_trouble" if fault == "mains_off@panel" else "battery_trouble"
    assert answer(loop, fault, "supply_lamps") == expected
    assert answer(loop, fault, "event_log") == "supply_trouble"
    sound, faulty = rate_symptom(Bench(loop, [(), parse_faults(fault, loop)]), "supply_trouble")
    assert faulty > 0.9
    assert sound < 0.1


def test_dead_battery_reads_right_on_mains_and_collapses_when_it_carries_the_panel() -> None:
    loop = wire_quick("four_wire_zone", 4)
    assert read_volts(loop, "battery_dead@panel", BATTERY[0]) == pytest.approx(
        read_volts(loop, "", BATTERY[0]), abs=0.1
    )
    assert read_volts(loop, "", BATTERY[0], "on_battery") > 24.0
    assert read_volts(loop, "battery_dead@panel", BATTERY[0], "on_battery") < 18.0
    assert show(loop, "battery_dead@panel", "on_battery") == {"zone1": None}


def test_battery_off_its_lead_reads_the_charger_on_mains_and_nothing_without() -> None:
    loop = wire_quick("four_wire_zone", 4)
    fault = "battery_disconnected@panel"
    assert read_volts(loop, fault, BATTERY[0]) == pytest.approx(27.0, abs=0.1)
    assert read_volts(loop, fault, BATTERY[0], "on_battery") < 0.5
    assert read_volts(loop, fault, "panel.aux+", "on_battery") < 0.5
    assert show(loop, fault, "on_battery") == {"zone1": None}


def test_low_charger_is_seen_on_mains_and_the_battery_still_carries_the_panel() -> None:
    loop = wire_quick("four_wire_zone", 4)
    right_v, low_v = (read_volts(loop, fault, BATTERY[0]) for fault in ("", "charger_low@panel"))
    assert low_v < right_v - 2.0
    assert show(loop, "charger_low@panel", "on_battery") == {"zone1": "normal"}


def test_panel_without_mains_stands_on_the_volts_of_its_battery() -> None:
    loop = wire_quick("four_wire_zone", 4)
    fault = "mains_off@panel"
    for red in (BATTERY[0], "panel.aux+", "panel.zone1+"):
        assert read_volts(loop, fault, red) == pytest.approx(read_volts(loop, "", red, "on_battery"), abs=1e-6)
    # The battery's own ohms carry the panel's 150 mA and the loop: Kirchhoff, by hand.
    assert read_volts(loop, fault, BATTERY[0]) == pytest.approx(25.0 - 0.2 * 0.165, abs=0.02)


@pytest.mark.parametrize("mode", ["standby", "on_battery"])
def test_dead_auxiliary_output_is_dead_on_battery_too(mode: str) -> None:
    loop = wire_quick("four_wire_zone", 4)
    assert read_volts(loop, "aux_dead@panel", "panel.aux+", mode) < 0.5
    assert 5.0 < read_volts(loop, "aux_low@panel", "panel.aux+", mode) < 10.0
    assert read_volts(loop, "", "panel.aux+", mode) > 23.0


def test_short_on_the_supply_of_the_detectors_leaves_the_battery_up() -> None:
    loop = wire_quick("four_wire_zone", 4)
    fault = "mains_off@panel,pair_short@det1.in_power"
    assert read_volts(loop, fault, "panel.aux+") < 1.0
    # The output's limiter holds: 750 mA and the panel's 150 mA through the battery's own 0.2 ohm.
    assert read_volts(loop, fault, BATTERY[0]) == pytest.approx(25.0 - 0.2 * 0.9, abs=0.05)


def test_coil_that_is_open_has_its_volts_and_does_not_click() -> None:
    loop = wire_quick("four_wire_zone", 4)
    fault = "coil_dead@reset"
    assert read_volts(loop, fault, "panel.reset+", "during_reset") > 15.0
    assert answer(loop, fault, "listen", "reset") == "silent"
    assert answer(loop, fault, "functional_test", "det2") == "reports_and_stays"
    assert read_volts(loop, "reset_not_assigned@panel", "panel.reset+", "during_reset") < 0.1


def wire_long(style: str, detectors: int, gauge: str, run: str) -> Loop:
    """Return a loop with long runs."""
    return build_loop(build_quick_site(QuickDescription(style, str(detectors), "4.7 kΩ", gauge, run))[0])


def test_run_that_is_too_thin_has_ten_times_the_ohms_of_copper_and_an_honest_spread() -> None:
    loop = wire_long("four_wire_zone", 3, "18 AWG", "50 m")
    values = read_catalogue().values
    (fault,) = parse_faults("run_too_thin@loop", loop)
    thin = apply_edits(loop, fault.build_edits(loop)).by_name
    right_ohm = 50.0 * copper_resistance_ohm_per_m(parse_gauge("18 AWG").area_mm2, 20.0)
    for number in (1, 2, 3):
        for core in "+-":
            name = f"wire.det{number}.in{core}"
            assert thin[name].resistance_ohm == pytest.approx(right_ohm * values.thin_run_times)
    assert thin["wire.det1.in_a"] == loop.by_name["wire.det1.in_a"]
    m = parse_measurement("volts", loop, {"red": "det3.in+", "black": "det3.in-"})
    (forecast,) = Bench(loop, [(), (fault,)]).forecast_all([m])
    assert forecast.slopes is not None
    assert abs(forecast.slopes[-1, 1]) > 10 * abs(forecast.slopes[-1, 0])


def test_far_end_of_a_run_that_is_too_thin_starves_and_a_short_one_does_not() -> None:
    far, near = (wire_long("four_wire_zone", 12, "24 AWG", run) for run in ("200 m", "5 m"))
    fault = "run_too_thin@loop"
    assert answer(far, "", "which_dark", "loop") == "none"
    dark = answer(far, fault, "which_dark", "loop").split(",")
    assert dark[-1] == "det12"
    assert "det1" not in dark
    assert show(far, fault) == {"zone1": "trouble"}  # the supervision relay at the far end does not pull in
    assert answer(near, fault, "which_dark", "loop") == "none"
    assert show(near, fault) == {"zone1": "normal"}


@pytest.mark.parametrize(("metres", "state"), [(20.0, "normal"), (1000.0, "trouble")])
def test_module_stops_at_the_end_of_a_run_that_is_too_thin_only_when_it_is_far(metres: float, state: str) -> None:
    site = build_quick_site(QuickDescription("module_two_wire", "3", "2 kΩ", "22 AWG", "10 m"))[0]
    loop = build_loop(site.model_copy(update={"loops": (site.loops[0].model_copy(update={"module_run": metres}),)}))
    assert set(show(loop, "").values()) == {"normal"}
    assert set(show(loop, "run_too_thin@loop").values()) == {state}


@pytest.mark.parametrize(
    ("kind", "typed", "meant"),
    [
        ("supply_lamps", "ok", "right"),
        ("supply_lamps", "Mains trouble", "mains_trouble"),
        ("supply_lamps", "battery fault", "battery_trouble"),
        ("event_log", "trouble only", "trouble_only"),
        ("event_log", "Alarm", "alarm"),
        ("event_log", "empty", "nothing"),
        ("event_log", "supply trouble", "supply_trouble"),
        ("event_log", "supervisory", "supervisory"),
    ],
)
def test_supply_and_log_are_understood_as_typed(kind: str, typed: str, meant: str) -> None:
    loop = wire_quick("four_wire_zone", 3)
    assert parse_value(parse_measurement(kind, loop, {"at": "panel"}), loop, typed) == meant


@pytest.mark.parametrize(
    ("fault", "entry"),
    [
        ("end_resistor_missing@end", "trouble_only"),
        ("detector_stuck@det2", "alarm"),
        ("zone_kind_wrong@zone1,detector_stuck@det2", "supervisory"),
        ("display_latched@zone1", "trouble_only"),
        ("detector_stuck@det2,battery_dead@panel", "alarm"),
    ],
)
def test_log_tells_the_gravest_entry(fault: str, entry: str) -> None:
    assert answer(wire_quick("four_wire_zone", 4), fault, "event_log") == entry


def test_battery_is_offered_on_mains_and_on_battery_and_mains_must_come_back() -> None:
    loop = wire_quick("two_wire_zone", 3)
    some = [m for m in list_measurements(loop) if find_leads(m, loop) == BATTERY]
    assert [m.mode.text for m in some] == ["standby", "on_battery"]
    assert "put_back" in some[1].cautions
    assert "put_back" not in some[0].cautions


@pytest.mark.parametrize("style", STYLES)
def test_every_supply_fault_is_offered_on_every_style(style: str) -> None:
    assert set(SUPPLY_FAULTS) | {"run_too_thin@loop"} <= {f.text for f in list_faults(wire_quick(style, 3))}
