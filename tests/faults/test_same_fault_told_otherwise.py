"""Metamorphic tests: a fault told in another way, or seen from another side, must read the same (design page, 12)."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.circuit import build_steps, parse_mode, solve_batch
from diagnostics.faults import Fault, build_all_edits, list_faults, parse_faults
from diagnostics.wiring import Loop
from tests.wiring.quick import STYLES, wire_quick

LOOP = wire_quick("two_wire_zone", 5)


def read_points(loop: Loop, text: str | Sequence[Fault], mode: str = "standby") -> list[float]:
    """Return the volts of every point where a meter fits."""
    faults = parse_faults(text, loop) if isinstance(text, str) else tuple(text)
    settled = solve_batch(loop, [build_all_edits(loop, faults)], build_steps(parse_mode(mode, loop), loop))
    return [float(settled.volts(red, black)[0]) for red, black in loop.meter_points]


@pytest.mark.parametrize("mode", ["standby", "alarm:det2", "alarm:det5", "head_off:det3"])
@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("leak=999M@det3.in", ""),
        ("end_resistor_wrong=999M@end", "end_resistor_missing@end"),
        ("joint_resistive=0.0001@det3.in+", ""),
        ("leak=0.01@det3.in", "pair_short@det3.in"),
        ("polarity_reversed@panel", "polarity_reversed@det1"),
        ("joint_resistive=300@det1.in+", "joint_resistive=300@det1.in-"),
        ("crossed_at@det3", "polarity_reversed@det3,polarity_reversed@det4"),
        ("plus_under_one_terminal@det3", "link_left_in_base@det3"),
        ("looped_uncut@det3", "plus_under_one_terminal@det3"),
        ("link_left_in_base@det5", "end_resistor_on_in@end"),
        ("head_not_home@det3", "head_off@det3"),
    ],
)  # fmt: skip
def test_one_fault_grown_into_another_reads_as_that(one: str, other: str, mode: str) -> None:
    at_panel = [points[0] for points in (read_points(LOOP, one, mode), read_points(LOOP, other, mode))]
    assert at_panel[0] == pytest.approx(at_panel[1], abs=2e-3)


@pytest.mark.parametrize("place", ["det2.in", "det4.in"])
def test_open_plus_and_open_minus_look_the_same_from_the_panel(place: str) -> None:
    plus, minus = (read_points(LOOP, f"conductor_open@{place}{core}") for core in "+-")
    assert plus[0] == pytest.approx(minus[0], abs=1e-4)


@pytest.mark.parametrize("style", STYLES)
def test_two_faults_read_the_same_in_either_order(style: str) -> None:
    loop = wire_quick(style, 4)
    faults = [f for f in list_faults(loop) if f.kind in {"leak", "joint_resistive", "head_off", "end_resistor_wrong"}]
    pairs = [(one, two) for one, two in zip(faults[::4], faults[3::5], strict=False) if one.place != two.place]
    pairs = [(a, b) for a, b in pairs if a.place.rstrip("+-") != b.place and b.place.rstrip("+-") != a.place]
    assert len(pairs) >= 8
    for one, two in pairs:
        assert np.allclose(read_points(loop, (one, two)), read_points(loop, (two, one)), rtol=0, atol=1e-9)


@pytest.mark.parametrize("style", STYLES)
def test_names_of_rooms_change_no_reading(style: str) -> None:
    loop = wire_quick(style, 4)
    renamed = replace(loop, detectors=tuple(replace(d, label=f"room {d.name}") for d in loop.detectors))
    for text in ("", "head_off@det2", "detector_dead@det3"):
        assert read_points(loop, text) == read_points(renamed, text)


@pytest.mark.parametrize("ohm", ["300", "1k", "3k", "10k"])
def test_more_resistance_in_the_path_never_lowers_the_zone_volts(ohm: str) -> None:
    assert read_points(LOOP, f"joint_resistive={ohm}@det3.in+")[0] > read_points(LOOP, "")[0]
    assert read_points(LOOP, f"leak={ohm}@det3.in")[0] < read_points(LOOP, "")[0]


def test_leak_nearer_to_the_panel_reads_lower_at_the_panel() -> None:
    volts = [read_points(LOOP, f"leak=300@det{k}.in")[0] for k in range(1, 6)]
    assert volts == sorted(volts)
    assert volts[0] < volts[-1]


def test_crossed_in_and_out_reads_everywhere_as_two_runs_reversed() -> None:
    for mode in ("standby", "alarm:det5", "head_off:det2"):
        one, two = (
            read_points(LOOP, text, mode)
            for text in ("crossed_at@det3", "polarity_reversed@det3,polarity_reversed@det4")
        )
        assert one == pytest.approx(two, abs=1e-6)


@pytest.mark.parametrize("core", ["+", "-"])
def test_open_into_a_spur_is_unseen_and_into_the_next_is_seen_as_without_it(core: str) -> None:
    """A spur takes its detector out of the way of the current: what is beyond reads as if it were not there."""
    assert read_points(LOOP, f"spur@det3,conductor_open@det3.in{core}")[0] == pytest.approx(
        read_points(LOOP, "detector_dead@det3")[0], abs=1e-3
    )
    assert read_points(LOOP, f"spur@det3,conductor_open@det4.in{core}")[0] == pytest.approx(
        read_points(LOOP, f"conductor_open@det4.in{core}")[0], abs=1e-3
    )
