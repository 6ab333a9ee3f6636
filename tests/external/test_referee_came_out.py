"""What the referee's meter shows of what a repair takes out of its drawn world: all of it by hand arithmetic.

Worlds are as described, so that the meter rests at nought: 1 V behind 10 kΩ on ohms, 10 MΩ on volts, 6000 counts.
"""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.referee import STRANGE, Out, Row, World, build_world, measure_out
from diagnostics.referee.line import SITES
from tests.external.referee_line import open_line

STYLES = ("hill_hostel", "malt_house")  # circuits that the engine exports, and that the referee writes itself


def site_at(stem: str) -> Path:
    return next(site for site in SITES if site.stem == stem)


def build(stem: str, fault: str = "healthy") -> World:
    return build_world(open_line(), site_at(stem), fault)


def curve(name: str, ends: tuple[str, str], points: list[list[float]], slopes: tuple[float, float]) -> Row:
    row: Row = {"name": f"{STRANGE}{name}", "type": "bridge", "a": ends[0], "b": ends[1], "points": points, "emf": None}
    return {**row, "before_s": slopes[0], "after_s": slopes[1], "when": [], "spreads": []}


def put_in_series(world: World, core: str, points: list[list[float]], slopes: tuple[float, float]) -> World:
    """Return a world with a conductor cut where it arrives, and a strange part put in."""
    parts = [dict(p) for p in world.parts]
    wire = next(p for p in parts if p["name"] == core)
    goal, wire["b"] = wire["b"], f"cut.{core}"
    return replace(world, parts=(*parts, curve(core, (wire["b"], goal), points, slopes)), solved={})


def read_ohm(text: str) -> float:
    return float(text.removesuffix(" ohm"))


def find_core(stem: str) -> tuple[str, str, str]:
    """Return two cores and the pair of the run into detector 2, as faults name them."""
    if stem == "malt_house":
        return "det2.in_a", "det2.in_b", "det2.in_contact"
    return "det2.in+", "det2.in-", "det2.in"


@pytest.mark.parametrize("stem", STYLES)
def test_a_sound_conductor_reads_its_copper_and_a_joint_its_ohms_besides(stem: str) -> None:
    core, *_ = find_core(stem)
    sound = build(stem)
    copper_ohm = next(p["value"] for p in sound.parts if p["name"] == f"wire.{core}")
    for fault, ohm in (("healthy", copper_ohm), (f"joint_resistive=300@{core}", copper_ohm + 300)):
        out = measure_out(build(stem, fault), "along", [core])
        assert read_ohm(out.one) == pytest.approx(ohm, abs=0.11)  # its last digit is 0.1 Ω
        assert out.turned == out.one


@pytest.mark.parametrize("stem", STYLES)
def test_of_two_conductors_the_open_one_is_written_down(stem: str) -> None:
    core, other, _ = find_core(stem)
    assert measure_out(build(stem, f"conductor_open@{core}"), "along", [other, core]) == Out("OL", "OL", "OL")


@pytest.mark.parametrize("stem", STYLES)
def test_a_leak_and_a_short_read_between_their_conductors_with_half_of_each(stem: str) -> None:
    core, other, pair = find_core(stem)
    half_ohm = sum(p["value"] for p in build(stem).parts if p["name"] in {f"wire.{core}", f"wire.{other}"}) / 2
    leak = measure_out(build(stem, f"leak=1800@{pair}"), "between", [pair])
    assert read_ohm(leak.one) == pytest.approx(1800 + half_ohm, abs=1.01)  # in steps of 1 Ω
    short = measure_out(build(stem, f"pair_short@{pair}"), "between", [pair])
    assert read_ohm(short.one) == pytest.approx(0.01 + half_ohm, abs=0.06)
    assert measure_out(build(stem), "between", [pair]).one == "OL"


@pytest.mark.parametrize("stem", STYLES)
def test_an_earth_fault_reads_from_its_own_conductor_to_earth(stem: str) -> None:
    core, other, _ = find_core(stem)
    world = build(stem, f"earth_fault=2000@{core}")
    assert read_ohm(measure_out(world, "to_earth", [core]).one) == pytest.approx(2000, abs=2)
    assert measure_out(world, "to_earth", [other]).one == "OL"


def test_a_removed_end_resistor_reads_its_ohms_and_two_of_them_half() -> None:
    for stem in STYLES:
        right_ohm = next(p["value"] for p in build(stem).parts if p["name"] == "end.resistor")
        wrong = measure_out(build(stem, "end_resistor_wrong=1000@end"), "across", ["end"])
        assert (wrong.one, wrong.turned) == ("1000 ohm", "1000 ohm")
        twice = measure_out(build(stem, "end_resistor_twice@end"), "across", ["end"])
        assert read_ohm(twice.one) == pytest.approx(right_ohm / 2, rel=1e-3)


def test_a_joint_that_passes_one_way_reads_otherwise_with_the_leads_turned() -> None:
    """Forward 0.6 V of the test volt stay on it: 0.6 V / (0.4 V / 10 kΩ) = 15 kΩ; backward 1e-7 S, 10 MΩ."""
    world = put_in_series(build("hill_hostel"), "wire.det2.in+", [[0.0, 0.0], [0.6, 1e-6]], (1e-7, 1.0))
    out = measure_out(world, "along", ["det2.in+"])
    assert (read_ohm(out.one), read_ohm(out.turned)) == pytest.approx((15_000, 10e6), rel=2e-3)


@pytest.mark.parametrize(("drop_v", "shown"), [(0.6, 0.6), (1.8, 1.8), (2.7, math.inf)])
def test_a_joint_that_passes_one_way_shows_its_drop_on_the_diode_range_the_turned_leads_left_out(
    drop_v: float, shown: float
) -> None:
    """2.8 V behind 2.8 kΩ push (2.8 - drop) / 2800 A on through its 1 S; of 2.8 V it shows 2.52 V at most."""
    world = put_in_series(build("hill_hostel"), "wire.det2.in+", [[0.0, 0.0], [drop_v, 1e-6]], (1e-7, 1.0))
    found = measure_out(world, "along", ["det2.in+"]).diode
    assert (math.inf if found == "OL" else float(found.removesuffix(" V"))) == pytest.approx(shown, abs=2e-3)


def test_a_limiter_reads_as_a_plain_resistor_below_its_volts() -> None:
    """1 mA at 1 V: 1 kΩ as long as less than 1 V is on it, as always on this meter."""
    world = put_in_series(build("malt_house"), "wire.det2.in_a", [[-1.0, -1e-3], [1.0, 1e-3]], (1e-6, 1e-6))
    out = measure_out(world, "along", ["det2.in_a"])
    assert read_ohm(out.one) == pytest.approx(1000, abs=2)
    assert out.turned == out.one


def test_a_cell_in_a_conductor_shows_its_volts_and_no_ohms_are_taken() -> None:
    world = put_in_series(build("malt_house"), "wire.det2.in_a", [[3.0, 0.0], [4.0, 0.01]], (0.01, 0.01))
    assert measure_out(world, "along", ["det2.in_a"]) == Out("3.000 V")
    assert measure_out(world, "along", ["det2.in_b", "det2.in_a"]) == Out("3.000 V")


def test_what_feeds_a_pair_from_elsewhere_shows_its_volts_between_the_conductors() -> None:
    """12 V behind 1 kΩ, loaded by 10 MΩ: 11.9988 V, and the last digit of a 60 V range is 0.01 V."""
    world = build("hill_hostel")
    part = curve("source", ("det2.in+", "det2.in-"), [[12.0, 0.0], [1012.0, 1.0]], (1e-3, 1e-3))
    live = replace(world, parts=(*world.parts, part), solved={})
    assert measure_out(live, "between", ["det2.in"]) == Out("12.00 V")
    assert measure_out(live, "between", ["det3.in"]).one == "OL"  # of another run nothing is taken out


def test_an_arrester_past_its_life_is_open_at_the_volts_of_a_meter() -> None:
    world = build("hill_hostel")
    part = curve("arrester", ("det2.in+", "det2.in-"), [[5.0, 0.0], [6.0, 0.02]], (0.0, 0.02))
    assert measure_out(replace(world, parts=(*world.parts, part), solved={}), "between", ["det2.in"]).one == "OL"


def test_of_no_such_run_nothing_can_be_taken_out() -> None:
    with pytest.raises(KeyError):
        measure_out(build("hill_hostel"), "along", ["det99.in+"])
    with pytest.raises(KeyError):
        measure_out(build("hill_hostel"), "across", ["end9"])
