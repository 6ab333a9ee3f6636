"""What must hold of any operating point, whatever the numbers: balance, order, signs, loading, slopes, likeness.

The invariants are those of circuit theory (Kirchhoff; monotone resistive networks); all part values are invented.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from diagnostics.circuit import (
    MeterInput,
    Settled,
    build_steps,
    find_conducting,
    list_mode_words,
    parse_mode,
    read_meter,
    solve_batch,
    to_ohms,
)
from diagnostics.faults import list_faults, parse_fault
from diagnostics.wiring import (
    EARTH,
    Add,
    Curve,
    Edits,
    Element,
    Kind,
    Loop,
    Remove,
    SetResistance,
    apply_edits,
)
from tests.circuit.bare import build_quick

Array = NDArray[np.float64]
LOOPS = {"two_wire": build_quick("two_wire_zone", 4), "four_wire": build_quick("four_wire_zone", 3)}
VOLTMETER = MeterInput(10e6)
OHMMETER = MeterInput(10e3, 1.0)
each_loop = pytest.mark.parametrize("loop", LOOPS.values(), ids=LOOPS.keys())


def settle(loop: Loop, edits: list[Edits], mode: str = "standby") -> Settled:
    return solve_batch(loop, edits, build_steps(parse_mode(mode, loop), loop))


def build_all_singles(loop: Loop) -> list[Edits]:
    return [(), *(fault.build_edits(loop) for fault in list_faults(loop))]


def list_modes(loop: Loop) -> list[str]:
    words = [word.replace("RESISTANCE", "4k7") for word in list_mode_words(loop)]
    return [word for word in words if ":det" not in word or word.endswith(":det2")]


def zone_volts(settled: Settled) -> Array:
    zone = settled.network.loop.zones[0]
    return settled.volts(zone.plus, zone.minus)


def find_imbalance_a(settled: Settled, column: int) -> float:
    """Return the largest sum of currents (A) out of any terminal, by the elements' own laws."""
    network = settled.network
    loop = apply_edits(network.loop, network.edits[column])
    signals = {name: bool(settled.signal(name)[column]) for name in network.loop.signals}
    total = dict.fromkeys(loop.terminals, 0.0)
    for e in find_conducting(loop, signals):
        across = float(settled.volts(e.a, e.b)[column])
        current = across / e.resistance_ohm if e.resistance_ohm else e.curve.current_a(across) if e.curve else 0.0
        total[e.a] += current
        total[e.b] -= current
    return max(abs(current) for terminal, current in total.items() if terminal != EARTH)


@each_loop
def test_currents_balance_at_every_terminal(loop: Loop) -> None:
    edits = build_all_singles(loop)
    for mode in list_modes(loop):
        settled = settle(loop, edits, mode)
        worst = max(find_imbalance_a(settled, column) for column in range(0, len(edits), 5))
        assert worst < 1e-9, mode


@each_loop
@settings(max_examples=40, deadline=None, derandomize=True)
@given(ohm=st.floats(1.0, 1e6), place=st.sampled_from(["det1.out", "det2.out", "det3.out", "field.zone1"]))
def test_anything_put_across_the_zone_lowers_its_volts(loop: Loop, ohm: float, place: str) -> None:
    ends = ("+", "-") if "two" in loop.chains[0].spec.style or place.startswith("field") else ("_a", "_b")
    extra = Element("extra", Kind.RESISTOR, f"{place}{ends[0]}", f"{place}{ends[1]}", ohm)
    healthy, loaded = zone_volts(settle(loop, [(), (Add(extra),)]))
    assert loaded < healthy


@each_loop
@settings(max_examples=40, deadline=None, derandomize=True)
@given(ohm=st.floats(1.0, 1e5), run=st.integers(0, 2), core=st.integers(0, 1))
def test_anything_put_in_series_with_the_zone_raises_its_volts(loop: Loop, ohm: float, run: int, core: int) -> None:
    pairs = [pair for place, pair in loop.pairs.items() if not place.endswith("power")]
    wire = loop.by_name[pairs[run][core]]
    healthy, longer = zone_volts(settle(loop, [(), (SetResistance(wire.name, (wire.resistance_ohm or 0.0) + ohm),)]))
    assert longer > healthy


@each_loop
def test_exchanged_leads_read_the_same_volts_with_the_other_sign(loop: Loop) -> None:
    settled = settle(loop, build_all_singles(loop))
    there = read_meter(settled, list(loop.meter_points), VOLTMETER)
    back = read_meter(settled, [(black, red) for red, black in loop.meter_points], VOLTMETER)
    assert np.allclose(there.volts, -back.volts, rtol=0, atol=1e-9)
    assert np.allclose(there.slopes, -back.slopes, rtol=1e-6, atol=1e-9)


def build_floating(loop: Loop) -> Loop:
    """Return the loop without the panel's earth detection."""
    return apply_edits(loop, tuple(Remove(e.name) for e in loop.elements if e.name.startswith("earth.")))


@each_loop
@pytest.mark.parametrize("earth_ohm", [1.0, 1e3, 1e6])
def test_one_earth_on_a_floating_supply_changes_no_reading_from_plus_to_minus(loop: Loop, earth_ohm: float) -> None:
    floating = build_floating(loop)
    terminals = [t for t in floating.terminals if t != EARTH]
    earths: list[Edits] = [(Add(Element("earthed", Kind.RESISTOR, t, EARTH, earth_ohm)),) for t in terminals]
    settled = settle(floating, [(), *earths])
    # A contact that nothing feeds is no part of the supply: the one earth is all that holds it.
    for red, black in (points for points in loop.meter_points if "reset.no" not in points):
        volts = settled.volts(red, black)
        assert np.allclose(volts, volts[0], rtol=0, atol=1e-6), (red, black)
    against_earth = settled.volts(loop.zones[0].plus, EARTH)
    assert float(np.ptp(against_earth)) > 10.0


@each_loop
def test_one_dead_earth_beside_earth_detection_moves_the_zone_by_less_than_one_percent(loop: Loop) -> None:
    # The detection network is itself a path: through 100 kΩ some 0.1 mA flow, no more.
    earthed = Element("earthed", Kind.RESISTOR, loop.zones[0].plus, EARTH, 1.0)
    healthy, faulty = zone_volts(settle(loop, [(), (Add(earthed),)]))
    assert abs(faulty - healthy) < 0.01 * healthy
    assert abs(faulty - healthy) > 1e-3


@each_loop
@pytest.mark.parametrize("mode", ["standby", "alarm:det2", "head_off:det2"])
def test_meter_reads_what_a_resistor_of_its_size_would_have_across_it(loop: Loop, mode: str) -> None:
    edits = build_all_singles(loop)
    shown = read_meter(settle(loop, edits, mode), list(loop.meter_points), VOLTMETER).volts
    for row, (red, black) in enumerate(loop.meter_points):
        meter = Add(Element("meter", Kind.RESISTOR, red, black, VOLTMETER.input_ohm))
        put_in = settle(loop, [(*edit, meter) for edit in edits], mode)
        assert np.allclose(shown[row], put_in.volts(red, black), rtol=0, atol=1e-8)


@each_loop
def test_meter_may_lie_between_any_two_terminals_and_on_earth(loop: Loop) -> None:
    # Far apart, and to earth: nothing of the loop joins these, and the meter wakes what hangs on insulation alone.
    edits = build_all_singles(loop)
    pairs = [("det1.in+", "det3.out-"), ("panel.aux+", "det3.in+"), ("det2.out-", EARTH), (EARTH, "det2.in+")]
    shown = read_meter(settle(loop, edits), pairs, VOLTMETER).volts
    for row, (red, black) in enumerate(pairs):
        meter = Add(Element("meter", Kind.RESISTOR, red, black, VOLTMETER.input_ohm))
        put_in = settle(loop, [(*edit, meter) for edit in edits])
        assert np.allclose(shown[row], put_in.volts(red, black), rtol=0, atol=1e-7), (red, black)


@pytest.mark.parametrize("reverse", [False, True])
@each_loop
def test_ohmmeter_reads_what_its_own_source_and_resistance_make_of_the_lifted_pair(
    loop: Loop, *, reverse: bool
) -> None:
    zone = loop.zones[0].name
    leads = (f"field.{zone}-", f"field.{zone}+") if reverse else (f"field.{zone}+", f"field.{zone}-")
    edits = build_all_singles(loop)
    shown = to_ohms(read_meter(settle(loop, edits, "lifted"), [leads], OHMMETER), OHMMETER).volts[0]
    slope = 1 / OHMMETER.input_ohm
    source = Add(Element("meter", Kind.SOURCE, *leads, curve=Curve(((OHMMETER.test_v, 0.0),), slope, slope)))
    volts = settle(loop, [(*edit, source) for edit in edits], "lifted").volts(*leads)
    ohms = OHMMETER.input_ohm * volts / (OHMMETER.test_v - volts)
    assert np.allclose(np.minimum(shown, 1e9), np.minimum(ohms, 1e9), rtol=1e-6)


def scale(element: Element) -> Element:
    """Return an element of twice the resistance, which draws half the current at any volts."""
    if element.resistance_ohm is not None:
        return replace(element, resistance_ohm=2 * element.resistance_ohm)
    curve = element.curve
    assert curve is not None
    halved = tuple((volts, amperes / 2) for volts, amperes in curve.points)
    return replace(element, curve=Curve(halved, curve.before_s / 2, curve.after_s / 2))


@each_loop
def test_twice_the_ohms_at_half_the_currents_leave_all_volts(loop: Loop) -> None:
    edits = [apply_edits(loop, edit) for edit in build_all_singles(loop)[::4]]
    for edited in edits:
        scaled = replace(edited, elements=tuple(scale(e) for e in edited.elements))
        for mode in ("standby", "alarm:det2", "during_reset", "lifted"):
            ours, theirs = settle(edited, [()], mode), settle(scaled, [()], mode)
            assert np.array_equal(ours.signals, theirs.signals)
            assert np.allclose(ours.point.volts, theirs.point.volts, rtol=0, atol=1e-8)


@each_loop
def test_run_split_in_two_leaves_all_volts(loop: Loop) -> None:
    wire = next(e for e in loop.elements if e.kind is Kind.CONDUCTOR and "det2" in e.name)
    near = replace(wire, name="near", b="splice", resistance_ohm=0.3 * (wire.resistance_ohm or 0.0))
    far = replace(wire, name="far", a="splice", resistance_ohm=0.7 * (wire.resistance_ohm or 0.0))
    split = apply_edits(loop, (Remove(wire.name), Add(near), Add(far)))
    for mode in list_modes(loop):
        whole, parted = settle(loop, [()], mode), settle(split, [()], mode)
        for red, black in loop.meter_points:
            # One terminal more is one insulation leak more: some picoamperes, on a floating contact a microvolt.
            assert np.allclose(whole.volts(red, black), parted.volts(red, black), rtol=0, atol=2e-6)


@each_loop
def test_order_and_direction_in_which_elements_are_listed_change_nothing(loop: Loop) -> None:
    turned = [e if e.curve else replace(e, a=e.b, b=e.a) for e in reversed(loop.elements) if e.kind is not Kind.LEAK]
    leaks = [e for e in loop.elements if e.kind is Kind.LEAK]
    other = replace(loop, elements=(*turned, *leaks))
    for mode in list_modes(loop):
        ours, theirs = settle(loop, [()], mode), settle(other, [()], mode)
        for terminal in loop.terminals:
            assert ours.volts(terminal, EARTH) == pytest.approx(theirs.volts(terminal, EARTH), abs=1e-7)


def test_each_detector_more_that_is_left_lit_draws_its_current_through_the_source() -> None:
    # An open run k leaves k - 1 detectors; their names play no part. 0.1 mA in 1 kΩ: 0.1 V each.
    loop = LOOPS["two_wire"]
    for core in "+-":
        places = [f"conductor_open@det{n}.in{core}" for n in range(1, 5)]
        volts = zone_volts(settle(loop, [parse_fault(text, loop).build_edits(loop) for text in places]))
        assert np.allclose(np.diff(volts), -0.1, rtol=0.02)
