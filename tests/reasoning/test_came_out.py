"""What comes out at a repair: what a meter should show of it, and what its reading then says of the cause.

To measure what was taken out is common practice, no source. The ohms here follow by hand from the suspects' own.
"""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.errors import QuantityError
from diagnostics.faults import parse_fault, read_catalogue
from diagnostics.readings import Meter, read_table
from diagnostics.reasoning import (
    Candidate,
    Foreseen,
    Shown,
    Told,
    asks_diode,
    build_shown,
    foresee_fault,
    foresee_out,
    list_asked,
    parse_diode,
    parse_foreseen,
    parse_shown,
    rate_out,
)
from diagnostics.source import read_file
from diagnostics.wiring import Loop, build_loop, parse_site

BAKERY = Path(__file__).parents[2] / "cases" / "sites" / "bakery.yaml"
OPEN = Foreseen("conductor_open@det3.in+", "along", math.inf, 1e6, math.inf)
JOINT = Foreseen("joint_resistive@det3.in+", "along", 312.0, 248.0, 412.0)
LEAK = Foreseen("leak@det3.in", "between", 1800.0, 1000.0, 3000.0)
NOTHING = Foreseen("end_resistor_missing@end")


@pytest.fixture(scope="module")
def loop() -> Loop:
    return build_loop(parse_site(read_file(BAKERY)))


@pytest.fixture(scope="module")
def meter() -> Meter:
    return read_table().meter


def foresee(loop: Loop, text: str, share: float | None = None) -> Foreseen:
    return foresee_fault(loop, parse_fault(text, loop), share)


def test_a_wrong_end_resistor_should_read_its_own_ohms(loop: Loop) -> None:
    found = foresee(loop, "end_resistor_wrong=1k@end")
    assert (found.way, found.about_ohm) == ("across", 1000.0)
    within = read_catalogue().came_out.ways["across"].within
    assert (found.low_ohm, found.high_ohm) == pytest.approx((1000 / within, 1000 * within))


@pytest.mark.parametrize(("kind", "times"), [("end_resistor_twice", 0.5), ("end_resistor_in_series", 2.0)])
def test_two_end_resistors_should_read_as_they_were_fitted(loop: Loop, kind: str, times: float) -> None:
    right_ohm = loop.by_name["end.resistor"].resistance_ohm
    assert right_ohm
    assert foresee(loop, f"{kind}@end").about_ohm == times * right_ohm


def test_a_joint_should_read_as_wide_as_the_readings_left_it_and_no_wider(loop: Loop) -> None:
    """Two standard deviations of 5 % either way, exp(0.1), times what handling may do; its wire beside it."""
    found, wire_ohm = foresee(loop, "joint_resistive=312@det3.in+", 0.05), loop.by_name["wire.det3.in+"].resistance_ohm
    assert wire_ohm
    spread = math.exp(0.1) * read_catalogue().came_out.ways["along"].within
    assert found.low_ohm == pytest.approx(312 / spread)
    assert found.high_ohm == pytest.approx(312 * spread + wire_ohm)
    told = foresee(loop, "joint_resistive=312@det3.in+")  # in a record alone: the catalogue's own spread
    assert told.low_ohm < found.low_ohm
    assert told.high_ohm > found.high_ohm


def test_an_open_conductor_reads_over_range_and_touching_ones_next_to_nothing(loop: Loop) -> None:
    assert foresee(loop, "conductor_open@det3.in+") == OPEN
    short = foresee(loop, "pair_short@det3.in")
    assert (short.way, short.low_ohm) == ("between", 0.0)
    assert short.high_ohm < 10.0


def test_an_earth_fault_is_measured_to_earth_but_not_at_a_battery(loop: Loop) -> None:
    assert foresee(loop, "earth_fault=10k@det3.in+").way == "to_earth"
    assert foresee(loop, "earth_fault=10k@panel.battery+").way is None


@pytest.mark.parametrize(
    "text", ["end_resistor_missing@end", "detector_dead@det3", "zone_input_leaks=1k@zone1", "zone_bypassed@zone1"]
)
def test_of_boards_detectors_and_settings_there_is_nothing_to_ask(loop: Loop, text: str) -> None:
    assert foresee(loop, text).way is None
    assert list_asked((foresee(loop, text),)) == ()


def test_every_kind_that_comes_out_has_a_way_whose_factors_are_there() -> None:
    catalogue = read_catalogue()
    ways = {data.out.way for data in catalogue.kinds.values() if data.out}
    assert ways == set(catalogue.came_out.ways)


def build_candidate(loop: Loop, text: str, probability: float, **learnt: float) -> Candidate:
    fault = parse_fault(text, loop)
    return Candidate((fault,), probability, fault.repair_class, **learnt)


def test_what_a_repair_is_for_is_foreseen_likeliest_first_and_what_is_far_behind_is_not(loop: Loop) -> None:
    candidates = [
        build_candidate(loop, "joint_resistive=300@det3.in+", 0.9, value_ohm=312.0, value_share=0.05),
        build_candidate(loop, "conductor_open@det3.in+", 0.05),
        build_candidate(loop, "leak=1k@det3.in", 0.001),
        build_candidate(loop, "conductor_open@det4.in+", 0.04),
    ]
    found = foresee_out(loop, candidates, ("mend_conductor", "run det3"))
    assert [each.fault for each in found] == ["joint_resistive@det3.in+", "conductor_open@det3.in+"]
    assert found[0] == replace(foresee(loop, "joint_resistive=312@det3.in+", 0.05), about_ohm=found[0].about_ohm)
    only = foresee_out(loop, candidates, ("mend_conductor", "run det3"), ("conductor_open@det3.in+",))
    assert [each.fault for each in only] == ["conductor_open@det3.in+"]


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (Shown(math.inf, math.inf, diode_v=math.inf), Told("fits")),
        (Shown(math.inf, math.inf, diode_v=2.7), Told("fits")),  # some ranges show their own volts, not OL
        (Shown(math.inf, math.inf, diode_v=1.83), Told("does not fit", "diode")),
        (Shown(math.inf, diode_v=0.0), Told("does not fit", "diode")),
        (Shown(15e3, 10e6, diode_v=0.6), Told("does not fit", "turned")),  # the ohms told it already
        (Shown(300.0, diode_v=0.3), Told("does not fit", "ohms")),  # of what is not open it tells nothing more
    ],
)
def test_what_is_open_for_ohms_must_be_open_on_the_diode_range_too(shown: Shown, told: Told, meter: Meter) -> None:
    assert rate_out((OPEN,), shown, meter) == told


def test_a_joint_that_fits_its_ohms_is_not_doubted_for_what_the_diode_range_shows(meter: Meter) -> None:
    assert rate_out((JOINT,), Shown(312.0, 312.0, diode_v=0.312), meter) == Told("fits")


def test_only_where_something_should_be_open_is_the_diode_range_asked_for() -> None:
    assert asks_diode((JOINT, OPEN))
    assert not asks_diode((JOINT, LEAK))
    assert not asks_diode(())


@pytest.mark.parametrize(("text", "volts"), [("0.62", 0.62), ("0,62 V", 0.62), ("620 mV", 0.62), ("OL", math.inf)])
def test_the_diode_range_is_read_as_it_is_written(text: str, volts: float) -> None:
    assert parse_diode(text) == pytest.approx(volts)


@pytest.mark.parametrize(
    ("text", "hint"),
    [("620", "write 620 mV"), ("-0.6", "without its sign"), ("312 ohm", ""), ("", ""), ("green", "")],
)
def test_what_no_diode_range_shows_is_refused_with_what_was_meant(text: str, hint: str) -> None:
    with pytest.raises(QuantityError) as found:
        parse_diode(text)
    assert hint in str(found.value)


@pytest.mark.parametrize("each", [OPEN, JOINT, LEAK, NOTHING])
def test_what_is_foreseen_is_kept_as_a_line_and_read_back(each: Foreseen) -> None:
    found = parse_foreseen(each.text)
    assert found is not None
    assert repr(found) == repr(each)  # nan is not nan


@pytest.mark.parametrize(
    "text",
    ["", "a@b: along", "a@b: aloft, 1, 1 to 2 ohm", "a@b: along, x, 1 to 2 ohm", "a@b: along, 1, 2 to 0.5 ohm",
     "a@b: along, -1, -2 to 3 ohm", "a@b: along, 9, 1 to 2 ohm", "a@b: along, 9, OL to 10 ohm"],
)  # fmt: skip
def test_a_line_that_this_program_does_not_know_is_none(text: str) -> None:
    assert parse_foreseen(text) is None


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (Shown(320.0), Told("fits")),
        (Shown(320.0, 322.0), Told("fits")),
        (Shown(412.5), Told("fits")),  # half an ohm beyond, and the meter itself may be off by more
        (Shown(4700.0), Told("does not fit", "ohms")),
        (Shown(math.inf), Told("does not fit", "ohms")),
        (Shown(0.3), Told("does not fit", "ohms")),
        (Shown(300.0, 400.0), Told("does not fit", "turned")),
        (Shown(300.0, math.inf), Told("does not fit", "turned")),
        (Shown(own_v=2.3), Told("does not fit", "own volts")),
        (Shown(own_v=-2.3), Told("does not fit", "own volts")),
    ],
)
def test_what_a_joint_shows_fits_or_does_not(meter: Meter, shown: Shown, told: Told) -> None:
    assert rate_out((JOINT,), shown, meter) == told


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (Shown(math.inf, math.inf), Told("fits")),
        (Shown(4e6, 9e6), Told("fits")),  # open either way: what seeps is not a part of its own
        (Shown(15e3, 10e6), Told("does not fit", "turned")),
        (Shown(15e3), Told("does not fit", "ohms")),
    ],
)
def test_what_an_open_conductor_shows_fits_or_does_not(meter: Meter, shown: Shown, told: Told) -> None:
    assert rate_out((OPEN,), shown, meter) == told


def test_a_meter_of_a_short_range_shows_over_range_for_an_open_and_proves_no_great_resistance(meter: Meter) -> None:
    small = meter.model_copy(update={"ohms_over": 20e3})
    assert rate_out((OPEN,), Shown(math.inf), small) == Told("fits")
    great = Foreseen("leak@det3.in", "between", 30e3, 18e3, 50e3)
    assert rate_out((great,), Shown(math.inf), small) == Told("cannot tell", "out of range")
    assert rate_out((great,), Shown(19e3), small) == Told("fits")


def test_what_another_way_would_have_to_tell_is_left_open_until_it_was_seen_which_it_was(meter: Meter) -> None:
    assert rate_out((JOINT, LEAK), Shown(0.3), meter) == Told("cannot tell", "elsewhere")
    assert rate_out((JOINT, LEAK), Shown(0.3), meter, "joint_resistive=312@det3.in+") == Told("does not fit", "ohms")
    assert list_asked((JOINT, LEAK), "leak=1.8k@det3.in") == (LEAK,)
    assert rate_out((JOINT, LEAK), Shown(1800.0), meter, "leak=1.8k@det3.in") == Told("fits")


def test_nothing_measured_or_nothing_to_ask_is_told_nothing(meter: Meter) -> None:
    assert rate_out((JOINT,), Shown(), meter) is None
    assert rate_out((NOTHING,), Shown(4700.0), meter) is None
    assert rate_out((), Shown(4700.0), meter) is None
    restless = meter.model_copy(update={"volts_digits": 300.0})  # 0.3 V at rest: then 0.2 V are no volts of the part
    assert rate_out((JOINT,), Shown(own_v=0.2), restless) is None
    assert rate_out((JOINT,), Shown(own_v=0.5), restless) == Told("does not fit", "own volts")


@pytest.mark.parametrize(
    ("text", "value"),
    [("4,7k", (4700.0, "ohm")), ("312", (312.0, "ohm")), ("5k6", (5600.0, "ohm")), ("OL", (math.inf, "ohm")),
     ("2.3 V", (2.3, "V")), ("-150 mV", (-0.15, "V")), ("4.7 kΩ", (4700.0, "ohm")),
     ("24 VAC", (24.0, "V")), ("230 V~", (230.0, "V")), ("23,5 v ac", (23.5, "V")), ("300 mVAC", (0.3, "V")),
     ("24 volts AC", (24.0, "V")), ("24 AC", (24.0, "V"))],
)  # fmt: skip
def test_what_was_typed_is_ohms_or_volts_of_its_own(text: str, value: tuple[float, str]) -> None:
    assert parse_shown(text) == value


def test_nought_volts_are_as_they_should_be_and_the_ohms_are_asked_for() -> None:
    with pytest.raises(QuantityError, match="no volts by itself") as refused:
        parse_shown("0 V")
    assert "now the ohms" in refused.value.hint
    with pytest.raises(QuantityError, match="below zero"):
        parse_shown("-120")
    with pytest.raises(QuantityError, match="no volts by itself"):
        parse_shown("0 VAC")
    for text in ("green", "300 ohm AC", "OL AC", "AC"):
        with pytest.raises(QuantityError):
            parse_shown(text)


def test_volts_count_alone() -> None:
    assert build_shown([(312.0, "ohm"), (2.3, "V")]) == Shown(own_v=2.3)
    assert build_shown([(312.0, "ohm"), (310.0, "ohm")]) == Shown(312.0, 310.0)
    assert build_shown([]) == Shown()
