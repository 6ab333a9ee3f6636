"""Slopes of readings by shared unknowns against loops rebuilt with that unknown a little up and a little down.

The rebuilt loops come from the site description, so that a spread on the wrong element, of the wrong size or in the
wrong segment of a curve shows as well. All part values are invented.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.circuit import MeterInput, build_steps, parse_mode, read_meter, solve_batch, to_ohms
from diagnostics.faults import build_all_edits, parse_faults, read_catalogue
from diagnostics.wiring import Loop, build_loop
from diagnostics.wiring.site import parse_site_data

Array = NDArray[np.float64]
VOLTMETER, OHMMETER = MeterInput(10e6), MeterInput(10e3, 1.0)
STEP_SD = 0.01  # small beside the distance to the next corner, large beside rounding
# One standard deviation as a share; where the unknown is a current, less of it is more ohms.
SD = {
    "zone_v": 0.02, "zone_ohm": 0.01, "aux_v": 0.02, "run_m": 0.15, "end_ohm": 0.015,
    "standby_a": 0.15, "standby_a four-wire": 0.2, "low_ohm": -0.5, "clamp_ohm": -0.1, "one_way_v": 0.1,
    "series_ohm": 0.025,
}  # fmt: skip
TEMPERATURE_SD_C = 8.0
JOINTS_SD_OHM, OHM_PER_M = 0.03, 20.95e-3  # of 18 AWG at 20 °C, IEC 60028 and ASTM B258


@dataclass(frozen=True, slots=True)
class Values:
    """What a site says of the things that are uncertain."""

    zone_v: float = 24.0
    zone_ohm: float = 1000.0
    aux_v: float = 24.0
    run_m: float = 60.0
    temperature_c: float = 20.0
    end_ohm: float = 4700.0
    standby_a: float = 1e-4
    low_ohm: float = 3e6
    clamp_ohm: float = 100.0
    one_way_v: float = 0.6
    series_ohm: float = 470.0


def build_site_loop(style: str, v: Values) -> Loop:
    """Return a loop of three detectors with these values; bands are fixed so that no state moves with them."""
    two_wire, one_way = style != "four_wire_zone", style == "one_way"
    detector = {"standby_a": f"{v.standby_a!r} A"}
    if two_wire:
        detector |= {"low_volts_ohm": f"{v.low_ohm!r} ohm", "clamp_ohm": f"{v.clamp_ohm!r} ohm"}
    else:
        detector |= {"alarm_a": f"{200 * v.standby_a!r} A", "alarm_series_ohm": f"{v.series_ohm!r} ohm"}
    detector |= {"path": "one_way", "one_way_v": f"{v.one_way_v!r} V"} if one_way else {}
    loop: dict[str, Any] = {
        "zone": "zone1", "style": "two_wire_zone" if two_wire else style, "count": "3",
        "each": {"profile": "smoke_two_wire" if two_wire else "smoke_four_wire", "values": detector},
        "cable": {"gauge": "18 AWG", "run": f"{v.run_m!r} m", "values": {"temperature_c": repr(v.temperature_c)}},
        "end_resistor": {"resistance": repr(v.end_ohm)},
    }  # fmt: skip
    if not two_wire:
        loop |= {"reset": "relay", "end_relay": {"profile": "supervision_relay"}}
    panel = {"zone_v": f"{v.zone_v!r} V", "zone_ohm": f"{v.zone_ohm!r} ohm", "aux_v": f"{v.aux_v!r} V"}
    panel |= {"normal_from_v": "14 V", "open_from_v": "21.5 V"}
    data: Any = {
        "format": "ohmward-site/1", "name": "Slopes (invented)",
        "panel": {"profile": "panel_24v", "values": panel}, "zones": {"zone1": {}}, "loops": [loop],
    }  # fmt: skip
    return build_loop(parse_site_data(data, "test"))


def read(loop: Loop, fault: str, mode: str, meter: MeterInput) -> tuple[Array, Array]:
    """Return readings (pair,) and slopes (unknown, pair) of one circuit; on ohms of the lifted pair, both ways."""
    edits = build_all_edits(loop, parse_faults(fault, loop))
    settled = solve_batch(loop, [edits], build_steps(parse_mode(mode, loop), loop))
    lifted = [("field.zone1+", "field.zone1-"), ("field.zone1-", "field.zone1+")]
    shown = read_meter(settled, lifted if meter.test_v else list(loop.meter_points), meter)
    shown = to_ohms(shown, meter) if meter.test_v else shown
    return shown.volts[:, 0], shown.slopes[:, :, 0]


def shift(style: str, name: str, sds: float) -> Values:
    """Return the values with one of them so many standard deviations up."""
    if name == "temperature_c":
        return Values(temperature_c=20.0 + sds * TEMPERATURE_SD_C)
    if name == "joints":  # so many ohms more of each core
        return Values(run_m=Values().run_m + sds * JOINTS_SD_OHM / OHM_PER_M)
    sd = SD["standby_a four-wire" if style == "four_wire_zone" and name == "standby_a" else name]
    return Values(**{name: getattr(Values(), name) * (1 + sds * sd)})


UNKNOWN_OF = {
    "zone_v": "zone_supply", "zone_ohm": "zone_source", "aux_v": "aux_supply", "run_m": "cable_length",
    "temperature_c": "temperature", "end_ohm": "end_resistor", "standby_a": "detector_current", "low_ohm": "low_volts",
    "clamp_ohm": "clamp", "joints": "joints", "one_way_v": "one_way", "series_ohm": "series_resistor",
}  # fmt: skip
ONLY = {
    "low_ohm": {"two_wire_zone", "one_way"}, "clamp_ohm": {"two_wire_zone", "one_way"}, "one_way_v": {"one_way"},
    "series_ohm": {"four_wire_zone"},
}  # fmt: skip
OVER_OHM = 60e6  # beyond it the meter shows OL, and there is no slope to show
# Style, fault, mode, meter: volts in standby, in alarm, with a bad joint, beyond a break; ohms through sleeping loads.
CASES = [
    ("two_wire_zone", "healthy", "standby", VOLTMETER),
    ("two_wire_zone", "joint_resistive=300@det2.in+", "standby", VOLTMETER),
    ("two_wire_zone", "healthy", "alarm:det2", VOLTMETER),
    ("two_wire_zone", "conductor_open@det2.in-", "standby", VOLTMETER),
    ("two_wire_zone", "healthy", "lifted", OHMMETER),
    ("two_wire_zone", "end_resistor_missing@end", "lifted", OHMMETER),
    ("one_way", "healthy", "standby", VOLTMETER),
    ("one_way", "pair_short@det2.in", "standby", VOLTMETER),
    ("four_wire_zone", "healthy", "standby", VOLTMETER),
    ("four_wire_zone", "healthy", "alarm:det2", VOLTMETER),
    ("four_wire_zone", "leak=1k@det2.in_contact", "standby", VOLTMETER),
    ("four_wire_zone", "healthy", "lifted_supply_on", OHMMETER),
]


COMBINATIONS = [(case, name) for case in CASES for name in UNKNOWN_OF if case[0] in ONLY.get(name, {case[0]})]


@pytest.mark.parametrize(("case", "name"), COMBINATIONS, ids=["-".join([*c[:3], name]) for c, name in COMBINATIONS])
def test_slope_is_what_the_rebuilt_loops_differ_by(case: tuple[str, str, str, MeterInput], name: str) -> None:
    style, fault, mode, meter = case
    row = build_site_loop(style, Values()).unknowns.index(UNKNOWN_OF[name])
    up, down = (read(build_site_loop(style, shift(style, name, s)), fault, mode, meter)[0] for s in (STEP_SD, -STEP_SD))
    shown, slopes = read(build_site_loop(style, Values()), fault, mode, meter)
    within = np.abs(shown) < OVER_OHM
    assert within.any()
    differences = (up - down) / (2 * STEP_SD)
    # A hundredth of a digit of the meter is allowed for the corner of a load's curve, which stays where it is.
    assert np.allclose(slopes[row][within], differences[within], rtol=5e-3, atol=1e-2 if meter.test_v else 5e-5)


def test_own_value_of_a_fault_moves_its_reading_by_its_share() -> None:
    loop = build_site_loop("two_wire_zone", Values())
    share = read_catalogue().values.spread_share
    slope = read(loop, "joint_resistive=1000@det2.in+", "standby", VOLTMETER)[1][-1]
    texts = [f"joint_resistive={1000 * (1 + s * share)}@det2.in+" for s in (STEP_SD, -STEP_SD)]
    up, down = (read(loop, text, "standby", VOLTMETER)[0] for text in texts)
    assert np.allclose(slope, (up - down) / (2 * STEP_SD), rtol=5e-3, atol=5e-5)
    assert np.max(np.abs(slope)) > 0.1
    assert np.array_equal(read(loop, "healthy", "standby", VOLTMETER)[1][-1], np.zeros(len(loop.meter_points)))
