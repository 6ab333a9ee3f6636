"""A loop moved off its values: each element follows the unknowns it has a share in, and nothing else does."""

from dataclasses import replace

import pytest

from diagnostics.wiring import (
    Loop,
    Remove,
    discharge_battery,
    find_limit_a,
    lift_limits,
    multiply_load,
    shift_unknowns,
)
from tests.wiring.quick import wire_quick


@pytest.fixture(scope="module")
def loop() -> Loop:
    """Return a two-wire loop of invented round values: 24 V behind 1 kohm, 4.7 kohm, detectors of 0.1 mA."""
    return wire_quick("two_wire_zone", 3)


def test_nothing_moves_where_no_unknown_does(loop: Loop) -> None:
    assert shift_unknowns(loop, {}).elements == loop.elements
    assert shift_unknowns(loop, dict.fromkeys(loop.unknowns, 0.0)).elements == loop.elements


def test_supply_moves_its_volts_and_keeps_its_resistance_and_limit(loop: Loop) -> None:
    moved = shift_unknowns(loop, {"zone_supply": 1.0}).by_name["source.zone1"]
    assert moved.emf_v == pytest.approx(24 * 1.02)
    assert moved.curve is not None
    assert moved.curve.current_a(moved.emf_v) == pytest.approx(0, abs=1e-12)
    assert moved.curve.current_a(moved.emf_v - 1) == pytest.approx(-1e-3)
    assert find_limit_a(moved) == pytest.approx(0.060)


def test_source_resistance_moves_and_leaves_the_open_volts(loop: Loop) -> None:
    moved = shift_unknowns(loop, {"zone_source": 2.0}).by_name["source.zone1"].curve
    assert moved is not None
    assert moved.current_a(24.0) == pytest.approx(0, abs=1e-12)
    assert moved.current_a(23.0) == pytest.approx(-1 / 1020)


def test_detector_current_moves_its_level_and_not_what_an_ohmmeter_sees(loop: Loop) -> None:
    before, after = (
        loop.by_name["load.det1"].curve,
        shift_unknowns(loop, {"detector_current": 2.0}).by_name["load.det1"].curve,
    )
    assert before is not None
    assert after is not None
    assert after.current_a(20.0) == pytest.approx(1.3 * before.current_a(20.0))
    assert after.current_a(2.0) == pytest.approx(before.current_a(2.0))
    low = shift_unknowns(loop, {"low_volts": 1.0}).by_name["load.det1"].curve
    assert low is not None
    assert low.current_a(2.0) == pytest.approx(1.5 * before.current_a(2.0))
    assert low.current_a(20.0) == before.current_a(20.0)


def test_copper_follows_length_and_warmth_together(loop: Loop) -> None:
    # 15 % of length, and 8 K at 0.393 % per kelvin (IEC 60028).
    ohm = loop.by_name["wire.det1.in+"].resistance_ohm
    moved = shift_unknowns(loop, {"cable_length": 1.0, "temperature": 1.0}).by_name["wire.det1.in+"].resistance_ohm
    assert ohm is not None
    assert moved == pytest.approx(ohm * 1.15 * (1 + 0.00393 * 8))


def test_length_that_nobody_knows_never_comes_below_nothing(loop: Loop) -> None:
    moved = shift_unknowns(loop, {"cable_length": -20.0}).by_name["wire.det1.in+"].resistance_ohm
    assert moved is not None
    assert 0 < moved < 1e-5


def test_lifted_limit_leaves_volts_and_ohms_of_an_output_as_they_were(loop: Loop) -> None:
    lifted = lift_limits(loop)
    for name in ("source.zone1", "source.aux", "rail.aux"):
        before, after = loop.by_name[name].curve, lifted.by_name[name].curve
        assert before is not None
        assert after is not None
        across_v = 0.01 if name.startswith("rail") else 23.99
        assert after.current_a(across_v) == pytest.approx(before.current_a(across_v))
        assert find_limit_a(lifted.by_name[name]) == pytest.approx(1000)
    assert lifted.by_name["source.charger"] == loop.by_name["source.charger"]
    assert find_limit_a(loop.by_name["source.battery"]) is None
    assert find_limit_a(loop.by_name["load.det1"]) is None


def test_run_down_battery_has_just_the_volts_that_were_said(loop: Loop) -> None:
    taken, put = discharge_battery(loop, 20.4)
    cells = loop.by_name["source.battery"]
    assert taken == Remove("source.battery")
    element = getattr(put, "element")  # noqa: B009 - an edit that adds
    assert element.curve.current_a(20.4) == 0
    assert (element.emf_v, element.spreads) == (20.4, ())
    assert replace(element, curve=cells.curve, emf_v=cells.emf_v, spreads=cells.spreads) == cells


def test_load_times_three_draws_three_times_as_much_at_any_volts(loop: Loop) -> None:
    for name in ("load.det1", "clamp.det1"):
        one, three = loop.by_name[name], multiply_load(loop.by_name[name], 3)
        assert one.curve is not None
        assert three.curve is not None
        for volts in (0.0, 2.0, 5.0, 6.5, 20.0):
            assert three.curve.current_a(volts) == pytest.approx(3 * one.curve.current_a(volts))
        assert (three.a, three.b, three.gates) == (one.a, one.b, one.gates)
