"""What the panel shows, and who is lit, for the less common faults: terminations, heads, crowded zones.

Sources, by tag of each row:

* ``class B``: NFPA 72, class B paths (2010 edition onward, chapter 12, seen in secondary texts): a single open is a
  trouble, operation stops past it. A branch without the end resistor lies outside the monitored path: normal, whatever
  happens in it (derived from the circuit).
* ``four-wire``: NFPA 72, power of four-wire detectors is supervised at the end of the line, its loss a trouble.
* ``CO``: a CO detector reports sensor failure and end of life as a trouble (UL 2075; from memory).
* ``table``: the project's consequence table, derived from the circuit with invented round values.
* ``practice``: common practice, no source.

All part values are invented.
"""

from functools import cache

import pytest

from diagnostics.circuit import parse_mode
from diagnostics.faults import list_faults, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, Prediction, list_measurements, parse_measurement, predict_mode
from diagnostics.wiring import Loop, build_loop, read_site
from tests.wiring.quick import wire_quick

PAST_THE_HEAD = ["plus_under_one_terminal@det3", "looped_uncut@det3", "link_left_in_base@det3", "spur@det3"]
BLIND = ["dust_cover@det3", "sensor_failed@det3"]


@cache
def read(name: str) -> Loop:
    return build_loop(read_site(find_shipped("cases") / "sites" / f"{name}.yaml"))


@cache
def show(site: str, faults: str = "", mode: str = "standby") -> Prediction:
    loop = read(site)
    return predict_mode(loop, parse_faults(faults, loop), parse_mode(mode, loop))


def list_dark(seen: Prediction) -> set[str]:
    return {name for name, state in seen.states.items() if state == "dark"}


def volts(seen: Prediction, red: str) -> float:
    return next(float(r.ideal) for r in seen.readings if r.measurement.red == red and r.measurement.kind == "volts")


def answer(site: str, fault: str, kind: str, at: str) -> str:
    """Return the likeliest answer to a measurement in words."""
    loop = read(site)
    (forecast,) = Bench(loop, [(), parse_faults(fault, loop)]).forecast_all([parse_measurement(kind, loop, {"at": at})])
    assert forecast.chance is not None
    return forecast.tokens[int(forecast.chance[1].argmax())]


# Source, site, fault, mode, what zone 1 shows, who is dark (None: not told).
ROWS = [
    # The current goes past the head of det3, and nowhere else.
    *(("table: normal", "bench_two_wire", f, "standby", "normal", set()) for f in PAST_THE_HEAD),
    *(("table: that head off", "bench_two_wire", f, "head_off:det3", "normal", {"det3"}) for f in PAST_THE_HEAD),
    *(("class B: another head off", "bench_two_wire", f, "head_off:det2", "trouble", None) for f in PAST_THE_HEAD),
    *(("practice: it still reports", "bench_two_wire", f, "alarm:det3", "alarm", None) for f in PAST_THE_HEAD),
    *(("four-wire: that head off", "bench_four_wire", f, "head_off:det3", "normal", {"det3"}) for f in PAST_THE_HEAD),
    ("table: open in a spur", "bench_two_wire", "spur@det3,conductor_open@det3.in+", "standby", "normal", {"det3"}),
    ("table: it does not report", "bench_two_wire", "spur@det3,conductor_open@det3.in+", "alarm:det3", "normal", None),
    ("class B: beyond a spur", "bench_two_wire", "spur@det3,conductor_open@det4.in+", "standby", "trouble",
     {"det4", "det5"}),
    ("table: open in a spur of contacts", "bench_dry_contacts", "spur@det2,conductor_open@det2.in_a", "standby",
     "normal", None),
    ("table: it does not report", "bench_dry_contacts", "spur@det2,conductor_open@det2.in_a", "alarm:det2", "normal",
     None),
    # Crossed at one detector alone.
    ("table: k alone dark", "bench_two_wire", "crossed_at@det3", "standby", "normal", {"det3"}),
    ("table: beyond k right", "bench_two_wire", "crossed_at@det3", "alarm:det5", "alarm", None),
    ("table: one-way path", "bench_two_wire_oneway", "crossed_at@det3", "standby", "trouble", {"det3", "det4", "det5"}),
    ("table: on class A too", "bench_class_a", "crossed_at@det3", "standby", "normal", {"det3"}),
    ("four-wire: k alone dark", "bench_four_wire", "crossed_at@det3", "standby", "normal", {"det3"}),
    # Heads.
    *(("table: fed and blind", "bench_two_wire", f, "standby", "normal", set()) for f in BLIND),
    *(("table: fed and blind", "bench_two_wire", f, "alarm:det3", "normal", set()) for f in BLIND),
    *(("table: the others report", "bench_two_wire", f, "alarm:det4", "alarm", None) for f in BLIND),
    ("class B: not home is off", "bench_two_wire", "head_not_home@det3", "standby", "trouble",
     {"det3", "det4", "det5"}),
    ("practice: contact never closes", "bench_four_wire", "contact_never_closes@det3", "alarm:det3", "normal", set()),
    ("practice: wrong kind, draws", "bench_two_wire", "wrong_kind@det3", "standby", "normal", set()),
    ("practice: wrong kind, never pulls down", "bench_two_wire", "wrong_kind@det3", "alarm:det3", "normal", set()),
    ("practice: wrong kind, contact stays open", "bench_four_wire", "wrong_kind@det3", "alarm:det3", "normal", set()),
    ("CO: end of life", "bench_module_four_wire", "end_of_life@det2", "standby", "trouble", set()),
    ("practice: smoke, by its lamp alone", "bench_module_four_wire", "end_of_life@det1", "standby", "normal", set()),
    # Terminals at the panel, supervision relay, pairs.
    ("table: wires on an unused zone", "chapel", "on_neighbour_zone@zone1", "standby", "trouble", set()),
    ("table: its alarm is not heard", "chapel", "on_neighbour_zone@zone1", "alarm:det2", "trouble", None),
    ("four-wire: coil reversed", "bench_four_wire", "end_relay_reversed@end", "standby", "trouble", set()),
    ("four-wire: it still reports", "bench_four_wire", "end_relay_reversed@end", "alarm:det2", "alarm", None),
    ("table: pairs crossed, no relay", "bench_four_wire_bare", "pairs_crossed@det2", "standby", "trouble", set()),
    # A zone that carries too much, or cannot carry detectors at all.
    ("table: hides a missing resistor", "bench_two_wire", "too_many_on_zone@panel,end_resistor_missing@end", "standby",
     "normal", set()),
    ("class B: seen without the crowd", "bench_two_wire", "end_resistor_missing@end", "standby", "trouble", set()),
    ("table: does not let go on reset", "bench_two_wire", "zone_cannot_power@zone1", "after_reset:det3", "alarm", None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("site", "fault", "mode", "panel", "dark"),
    [r[1:] for r in ROWS],
    ids=[f"{r[0]}-{r[1]}-{r[2]}-{r[3]}" for r in ROWS],
)
def test_panel_and_lamps(site: str, fault: str, mode: str, panel: str, dark: set[str] | None) -> None:
    seen = show(site, fault, mode)
    assert seen.panel["zone1"] == panel
    assert dark is None or list_dark(seen) == dark


@pytest.mark.parametrize(("side", "volts_v"), [("in", -19.46), ("out", -19.46)])
def test_meter_reads_minus_at_the_one_detector_that_is_crossed_and_plus_beyond_it(side: str, volts_v: float) -> None:
    """Derived: 24 V through 1 kΩ and 4.7 kΩ with four detectors of 0.1 mA: (24 V - 0.4 mA · 1 kΩ) · 4.7 / 5.7."""
    seen = show("bench_two_wire", "crossed_at@det3")
    assert -volts_v == pytest.approx((24 - 0.4) * 4.7 / 5.7, abs=0.02)
    assert volts(seen, f"det3.{side}+") == pytest.approx(volts_v, abs=0.05)
    assert volts(seen, "det4.in+") == pytest.approx(-volts_v, abs=0.05)


def test_contact_that_never_closes_lights_its_lamp_all_the_same() -> None:
    for fault in ("contact_never_closes@det3", "wrong_kind@det3"):
        assert show("bench_four_wire", fault, "alarm:det3").states["det3"] == "latched"
        assert answer("bench_four_wire", fault, "functional_test", "det3") == "no_report"


def test_clamp_on_a_four_wire_supply_draws_what_ohm_says() -> None:
    """Derived: 24 V behind 0.5 Ω and 2 × 0.52 Ω a run, a clamp of 5 V behind 100 Ω: 19 V over about 102 Ω."""
    seen = show("bench_four_wire", "wrong_kind@det1", "alarm:det1")
    run_ohm = 2 * 25 * 0.020948 + 0.05
    current_a = (24 - 5) / (100 + 0.5 + run_ohm)
    assert volts(seen, "det1.in+") == pytest.approx(24 - current_a * (0.5 + run_ohm), abs=0.1)


def test_crowd_stands_where_ohm_says() -> None:
    """Derived: five detectors and 25 more of 0.1 mA: (24 V - 3 mA · 1 kΩ) · 4.7 / 5.7, and 21.0 V without resistor."""
    crowd = "too_many_on_zone@panel"
    assert volts(show("bench_two_wire", crowd), "panel.zone1+") == pytest.approx(21 * 4.7 / 5.7, abs=0.02)
    open_ = show("bench_two_wire", f"{crowd},end_resistor_missing@end")
    assert volts(open_, "panel.zone1+") == pytest.approx(21.0, abs=0.02)


def test_zone_for_contacts_keeps_its_volts_in_the_reset_pulse() -> None:
    assert volts(show("bench_two_wire", "", "during_reset"), "panel.zone1+") == pytest.approx(0, abs=0.05)
    kept = show("bench_two_wire", "zone_cannot_power@zone1", "during_reset")
    assert volts(kept, "panel.zone1+") == pytest.approx(volts(show("bench_two_wire"), "panel.zone1+"), abs=0.05)
    assert answer("bench_two_wire", "zone_cannot_power@zone1", "functional_test", "det2") == "reports_and_stays"


def test_zone_for_contacts_cannot_carry_many_detectors_beside_its_resistor() -> None:
    """Derived: of 5 mA twenty detectors take 2 mA, and 3 mA in 4.7 kΩ leave 14.1 V, below the window."""
    loop = wire_quick("two_wire_zone", 20)
    seen = predict_mode(loop, parse_faults("zone_cannot_power@zone1", loop), parse_mode("standby", loop))
    assert volts(seen, "panel.zone1+") == pytest.approx(14.1, abs=0.1)
    assert seen.panel == {"zone1": "trouble"}


def test_known_resistor_on_the_right_terminals_cures_wires_on_the_neighbour() -> None:
    assert show("chapel", "on_neighbour_zone@zone1", "known_resistor:4k7").panel["zone1"] == "normal"
    assert answer("chapel", "on_neighbour_zone@zone1", "look", "panel") == "on_neighbour"


def test_plain_coil_pulls_in_with_its_leads_exchanged_and_one_with_a_diode_does_not() -> None:
    site = read_site(find_shipped("cases") / "sites" / "bench_four_wire.yaml")
    relay = site.loops[0].end_relay
    assert relay is not None
    plain = relay.model_copy(update={"values": {"reversed": "works"}})
    loop = build_loop(site.model_copy(update={"loops": (site.loops[0].model_copy(update={"end_relay": plain}),)}))
    seen = predict_mode(loop, parse_faults("end_relay_reversed@end", loop), parse_mode("standby", loop))
    assert seen.panel == {"zone1": "normal"}
    assert volts(seen, "endrelay.coil+") < -20
    assert volts(show("bench_four_wire", "end_relay_reversed@end"), "endrelay.coil+") < -20


def test_crossed_pairs_feed_the_detectors_beyond_from_the_zone() -> None:
    """Circuit law: what feeds det3 is then the zone behind its 1 kΩ, so the reset relay drops nothing of it."""
    seen = show("bench_four_wire", "pairs_crossed@det3", "during_reset")
    assert list_dark(seen) == {"det1", "det2"}
    assert show("bench_four_wire", "pairs_crossed@det3", "after_reset:det3").panel["zone1"] == "alarm"


@pytest.mark.parametrize("site", ["bench_two_wire", "bench_class_a", "bench_four_wire", "bench_dry_contacts"])
def test_head_that_nothing_notices_is_found_by_taking_it_off_or_by_eye(site: str) -> None:
    loop = read(site)
    found = {f.kind for f in list_faults(loop) if f.text in PAST_THE_HEAD}
    if site == "bench_dry_contacts":
        assert found == {"spur"}  # a contact has no head: a spur there shows to the eye alone
        assert "head_off" not in {m.kind for m in list_measurements(loop)}
        return
    assert len(found) == len(PAST_THE_HEAD)
    for fault in PAST_THE_HEAD:
        if site != "bench_class_a":
            assert answer(site, fault, "head_off", "det3") == "normal"
            assert answer(site, fault, "head_off", "det2") == "trouble"


def test_three_wires_are_seen_at_the_detector_before_the_spur() -> None:
    assert answer("bench_two_wire", "spur@det3", "look", "det2") == "three_wires"
    assert answer("bench_two_wire", "spur@det1", "look", "panel") == "three_wires"
    assert answer("bench_two_wire", "spur@det3", "look", "det3") == "as_it_should_be"


def test_class_a_head_that_nothing_notices() -> None:
    """On class A a head off is an open, which the link mends: with a link in the base there is none to see."""
    assert show("bench_class_a", "", "head_off:det3").panel["zone1"] == "trouble"
    assert show("bench_class_a", "link_left_in_base@det3", "head_off:det3").panel["zone1"] == "normal"
