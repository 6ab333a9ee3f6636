"""What the panel shows on class A and class B circuits, and on dry contacts, fault by fault.

Source of the rows: NFPA 72, 2010 edition onward, chapter 12, classes A and B, as secondary texts quote them: a single
open is a trouble on both; on class A devices on both sides of it still alarm, on class B operation stops past the open.
Styles B, D and E (NFPA 72 up to 2002, from memory, no source seen): a short between the wires is an alarm on B and D, a
trouble on E, whose panel tells a short from an alarm. What a healthy loop, a head off or a missing resistor reads is
derived from the circuit. All part values are invented.
"""

from functools import cache

import pytest

from diagnostics.circuit import list_mode_words, parse_mode
from diagnostics.errors import FaultError
from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, Prediction, list_measurements, parse_measurement, predict_mode
from diagnostics.wiring import Loop, build_loop, read_site

DETECTORS = range(1, 6)
OPENS = [f"conductor_open@det{n}.in{side}" for n in DETECTORS for side in "+-"]
BACK_OPENS = [f"conductor_open@zone1r.in{side}" for side in "+-"]


@cache
def read(name: str) -> Loop:
    return build_loop(read_site(find_shipped("cases") / "sites" / f"{name}.yaml"))


def show(site: str, faults: str = "", mode: str = "standby") -> Prediction:
    loop = read(site)
    return predict_mode(loop, parse_faults(faults, loop), parse_mode(mode, loop))


def volts(seen: Prediction, red: str) -> float:
    return next(float(r.ideal) for r in seen.readings if r.measurement.red == red and r.measurement.kind == "volts")


@pytest.mark.parametrize("fault", [*OPENS, *BACK_OPENS])
def test_single_open_on_class_a_is_a_trouble_and_everything_stays_fed(fault: str) -> None:
    seen = show("bench_class_a", fault)
    assert seen.panel["zone1"] == "trouble"
    assert set(seen.states.values()) == {"powered"}


@pytest.mark.parametrize("fault", [OPENS[0], OPENS[5], *BACK_OPENS])
@pytest.mark.parametrize("detector", ["det1", "det3", "det5"])
def test_detectors_on_both_sides_of_a_class_a_open_still_alarm(fault: str, detector: str) -> None:
    assert show("bench_class_a", fault, f"alarm:{detector}").panel["zone1"] == "alarm"


@pytest.mark.parametrize("detector", ["det1", "det2", "det3", "det4", "det5"])
def test_operation_of_class_b_stops_past_the_open(detector: str) -> None:
    """The same open at det3 on the class B bench: what is before it alarms, what is beyond it does not."""
    seen = show("bench_two_wire", "conductor_open@det3.in+", f"alarm:{detector}")
    assert seen.panel["zone1"] == ("alarm" if detector < "det3" else "trouble")


def test_two_opens_on_class_a_lose_what_lies_between_them() -> None:
    """Class A promises one open only; between two nothing arrives from either side (circuit law)."""
    faults = "conductor_open@det2.in+,conductor_open@det4.in+"
    seen = show("bench_class_a", faults)
    assert {n for n, s in seen.states.items() if s == "dark"} == {"det2", "det3"}
    for detector, state in (("det1", "alarm"), ("det3", "trouble"), ("det5", "alarm")):
        assert show("bench_class_a", faults, f"alarm:{detector}").panel["zone1"] == state


@pytest.mark.parametrize("fault", [f"pair_short@det{n}.in" for n in DETECTORS])
@pytest.mark.parametrize("site", ["bench_class_a", "bench_two_wire"])
def test_short_between_the_wires_is_an_alarm_on_styles_b_and_d(site: str, fault: str) -> None:
    assert show(site, fault).panel["zone1"] == "alarm"


@pytest.mark.parametrize("fault", [f"pair_short@det{n}.in_contact" for n in range(1, 5)])
def test_short_is_a_trouble_where_a_series_resistor_lets_the_panel_tell_it_from_an_alarm(fault: str) -> None:
    assert show("bench_dry_contacts", fault).panel["zone1"] == "trouble"
    assert show("granary", fault).panel["zone1"] == "alarm"  # plain contacts: nothing tells them apart


def test_head_off_on_class_a_is_a_trouble_and_darkens_nobody_else() -> None:
    seen = show("bench_class_a", "", "head_off:det3")
    assert seen.panel["zone1"] == "trouble"
    assert {n for n, s in seen.states.items() if s == "dark"} == {"det3"}


def test_link_opens_in_reset_and_closes_again_on_the_same_open() -> None:
    assert set(show("bench_class_a", "conductor_open@det3.in+", "during_reset").states.values()) == {"dark"}
    seen = show("bench_class_a", "conductor_open@det3.in+", "after_reset:det2")
    assert seen.panel["zone1"] == "trouble"
    assert set(seen.states.values()) == {"powered"}


def test_volts_look_right_beyond_a_class_a_open_and_only_the_conductors_tell() -> None:
    """With both ends fed the terminals read as healthy, so the open shows in the ohms of one conductor, end to end."""
    healthy, faulty = (show("bench_class_a", fault) for fault in ("", "conductor_open@det3.in+"))
    assert volts(faulty, "panel.zone1+") == pytest.approx(volts(healthy, "panel.zone1+"), abs=0.2)
    lifted = show("bench_class_a", "conductor_open@det3.in+", "lifted")
    ohms = {(r.measurement.red, r.measurement.black): r.value for r in lifted.readings}
    assert ohms["panel.zone1+", "panel.zone1r+"] == float("inf")
    six_runs_ohm = 6 * 25 * 0.020948  # 18 AWG solid at 20 °C, ASTM B258 and IACS: 20.948 Ω/km
    assert ohms["panel.zone1-", "panel.zone1r-"] == pytest.approx(six_runs_ohm, rel=0.03)


@pytest.mark.parametrize("core", "+-")
@pytest.mark.parametrize("beyond", [2, 4])
def test_return_wires_off_a_class_a_loop_is_fed_from_one_end_and_darkens_what_lies_beyond_an_open(
    core: str, beyond: int
) -> None:
    """Circuit law; with the link idle and the return off nothing arrives past the open, as on a class B path."""
    seen = show("bench_class_a", f"conductor_open@det{beyond}.in{core}", "return_lifted")
    assert {n for n, s in seen.states.items() if s == "dark"} == {f"det{n}" for n in DETECTORS if n >= beyond}
    healthy = show("bench_class_a", "", "return_lifted")
    assert set(healthy.states.values()) == {"powered"}
    assert healthy.panel["zone1"] == "trouble", "the end resistor sits across the return terminals"


@pytest.mark.parametrize("core", "+-")
def test_an_open_on_class_a_is_placed_by_one_walk_with_the_return_off(core: str) -> None:
    loop = read("bench_class_a")
    walk = parse_measurement("which_dark", loop, {"at": "loop", "mode": "return_lifted"})
    assert {"put_back", "out_of_service", "live_cabinet"} <= set(walk.cautions)
    assert walk.find_minutes("panel") > parse_measurement("which_dark", loop, {"at": "loop"}).find_minutes("panel")
    bench = Bench(loop, [parse_faults(f"conductor_open@det{n}.in{core}", loop) for n in DETECTORS])
    (forecast,) = bench.forecast_all([walk])
    assert forecast.chance is not None
    assert len(set(forecast.chance.argmax(axis=1).tolist())) == len(DETECTORS)


@pytest.mark.parametrize("site", ["bench_two_wire", "bench_four_wire"])
def test_where_nothing_comes_back_no_return_can_be_lifted(site: str) -> None:
    loop = read(site)
    with pytest.raises(FaultError, match="nothing comes back"):
        parse_mode("return_lifted", loop)
    assert "return_lifted" not in list_mode_words(loop)
    assert all(m.mode.word != "return_lifted" for m in list_measurements(loop))


def test_reversed_return_is_normal_until_the_first_open_and_then_a_short() -> None:
    """A resistor has no polarity, so the panel cannot see it; the link then joins plus to minus (circuit law)."""
    assert show("bench_class_a", "polarity_reversed@zone1r").panel["zone1"] == "normal"
    assert volts(show("bench_class_a", "polarity_reversed@zone1r"), "panel.zone1r+") < -15
    seen = show("bench_class_a", "polarity_reversed@zone1r,conductor_open@det3.in+")
    assert seen.panel["zone1"] == "alarm"
    assert set(seen.states.values()) == {"dark"}


def test_contacts_need_no_supply_and_open_again_by_themselves() -> None:
    assert show("bench_dry_contacts", "", "alarm:det4").panel["zone1"] == "alarm"
    assert show("bench_dry_contacts", "", "after_reset:det4").panel["zone1"] == "normal"
    assert show("bench_dry_contacts", "detector_stuck@det4", "after_reset:det2").panel["zone1"] == "alarm"
    assert show("bench_dry_contacts", "detector_dead@det4", "alarm:det4").panel["zone1"] == "normal"


def test_contact_beyond_an_open_does_not_report() -> None:
    """Class B: operation stops past the open."""
    for detector, state in (("det1", "alarm"), ("det2", "alarm"), ("det3", "trouble"), ("det4", "trouble")):
        assert show("bench_dry_contacts", "conductor_open@det3.in_a", f"alarm:{detector}").panel["zone1"] == state


def test_nothing_is_asked_of_a_contact_that_it_has_not() -> None:
    kinds = {m.kind for m in list_measurements(read("granary"))}
    assert not kinds & {"lamp", "which_lit", "which_dark", "head_off", "dark_with_head_off"}
    assert {"functional_test", "volts", "ohms", "look"} <= kinds


def test_functional_test_tells_a_class_a_loop_that_has_lost_its_middle() -> None:
    loop = read("bench_class_a")
    bench = Bench(loop, [(), parse_faults("conductor_open@det2.in+,conductor_open@det4.in+", loop)])
    for name, token in (("det1", "reports_and_clears"), ("det3", "no_report"), ("det5", "reports_and_clears")):
        (forecast,) = bench.forecast_all([parse_measurement("functional_test", loop, {"at": name})])
        assert forecast.chance is not None
        assert forecast.tokens[int(forecast.chance[1].argmax())] == token
