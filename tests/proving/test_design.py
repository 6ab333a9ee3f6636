"""The design check: its volts and amperes against published formulas, each code on either side of its edge.

Published: copper of 58 MS/m (IEC 60028), AWG diameters (ASTM B258), Ohm's and Kirchhoff's laws and the voltage divider
(any textbook of electric circuits), hours of standby and alarm (NFPA 72; BS 5839-1, clause 25). That a loop is checked
at the worse end of every tolerance at once is *common practice, no source*. All other numbers are invented.
"""

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest

from diagnostics.proving import Design, Row, check_design
from diagnostics.proving.design import (
    BACKUP_H,
    CODES,
    DEFECTS,
    OWN_CODES,
    TOLERANCE_SDS,
    Case,
    find_needed_ah,
    find_reaches,
    settle_cases,
)
from diagnostics.wiring import Loop, Reset, build_loop, read_site, shift_unknowns
from diagnostics.wiring.site import DetectorSpec, PartSpec
from tests.sampling import sample
from tests.wiring.quick import wire_quick

SITES = sorted((Path(__file__).parents[2] / "cases" / "sites").glob("*.yaml"))
# 18 AWG: d = 0.127 mm x 92^((36 - 18)/39), R = l / (58 MS/m x area); ohms of one conductor of 25 m.
RUN_OHM = 25 / (58 * math.pi / 4 * (0.127 * 92 ** (18 / 39)) ** 2)
JOINT_OHM, CONTACT_OHM = 0.001, 0.010  # of the generic profiles
# The codes that shipped sites have, and why each is true: looked at one by one.
KNOWN = {
    "bench_four_wire_bare": {"D211 warning"},  # it says so: nothing supervises its power pair
    "bench_two_wire_oneway": {"D204 note"},  # four one-way heads of 0.6 V lift the last alarm to 8.9 V; the edge is 9 V
    "chapel": {"D211 warning"},  # it says so: no supervision relay
    "creamery": {"D212 warning"},  # it says so: nothing ever drops the module's supply
    "ferry": {"D212 warning"},  # it says so: nothing ever resets it
    "greenhouse": {"D211 warning"},  # four-wire detectors behind a module, and no supervision relay is listed
    "lighthouse": {"D204 note"},  # one-way heads as well: 0.6 V and 20 % in each lift the last alarm to 9.03 V of 9 V
    "mill": {"D202 note"},  # 4 x 20 mA and a coil on 100 mA: 90 mA, and 20 % more current twice over is too much
    "reading_room": {"D204 note"},  # wired as bench_two_wire_oneway
    "ticket_hall": {"D211 warning"},  # it says so: nobody fitted a supervision relay
}


P = TypeVar("P", PartSpec, DetectorSpec)


@dataclass(frozen=True, slots=True)
class Change:
    """A shipped site with other values: of its panel, of each detector, or of a part of its loop by name."""

    site: str
    part: str = ""
    values: tuple[tuple[str, str], ...] = ()

    def but(self, name: str, text: str) -> "Change":
        """Return the change with one value more."""
        return Change(self.site, self.part, (*self.values, (name, text)))


@cache
def wire(change: Change) -> Loop:
    """Return the loop of a changed site."""
    site = read_site(SITES[0].with_name(f"{change.site}.yaml"))
    spec, values = site.loops[0], dict(change.values)
    if change.part == "panel":
        return build_loop(site.model_copy(update={"panel": _add(site.panel, values)}))
    if change.part == "each":
        told = {"each": _add(spec.each, values), "detectors": tuple(_add(d, values) for d in spec.detectors)}
    else:
        told = {change.part: _add(getattr(spec, change.part), values)} if change.part else {}
    if not told:
        return build_loop(site)
    return build_loop(site.model_copy(update={"loops": (spec.model_copy(update=told),)}))


def _add(part: P, values: dict[str, str]) -> P:
    return part.model_copy(update={"values": part.values | values})


@cache
def check(change: Change) -> Design:
    """Return the design check of a changed site."""
    return check_design(wire(change))


def find_row(design: Design, what: str, at: str, condition: str) -> Row:
    """Return one row of a check."""
    return next(r for r in design.rows if (r.check, r.at, r.condition) == (what, at, condition))


def find_codes(design: Design) -> dict[str, str]:
    """Return severity by code."""
    return {flaw.code: flaw.severity for flaw in design.flaws}


@pytest.mark.parametrize("path", sample(SITES, 3), ids=lambda p: p.stem)
def test_shipped_site_has_only_complaints_that_are_true(path: Path) -> None:
    design = check(Change(path.stem))
    assert {f"{f.code} {f.severity}" for f in design.flaws} == KNOWN.get(path.stem, set())
    fed = not any(d.is_contact for d in wire(Change(path.stem)).detectors)
    assert {row.check for row in design.rows} >= {"window", "battery", *(("volts", "load", "carries") if fed else ())}
    for row in design.rows:
        assert row.reach.low <= row.reach.nominal <= row.reach.high
        assert row.unit in {"V", "A", "Ah"} or row.check == "carries"


def test_volts_at_the_last_detector_are_those_of_iacs_copper() -> None:
    # Four 20 mA detectors, 25 m apart: runs carry what is beyond, 80, 60, 40 and 20 mA, in both conductors; beside the
    # copper 0.5 ohm of the output, 50 mohm of the reset contact, 10 mohm in each head passed and 1 mohm in each joint.
    design = check(Change("bench_four_wire_bare"))
    beyond_a = [0.02 * n for n in (4, 3, 2, 1)]
    copper_v = sum(2 * RUN_OHM * a for a in beyond_a)
    heads_v = sum((CONTACT_OHM + JOINT_OHM) * a for a in beyond_a[1:])
    panel_v = beyond_a[0] * (0.5 + 0.05 + 2 * JOINT_OHM)
    row = find_row(design, "volts", "det4", "alarm")
    assert row.reach.nominal == pytest.approx(24 - copper_v - heads_v - panel_v, abs=2e-3)
    assert 24 - row.reach.nominal == pytest.approx(0.255, abs=0.002)  # a drop that the eye can check: 0.21 V of copper
    # At the far corner: 24 V less 4 %, current + 40 %, length + 30 %, copper 16 K warmer (0.393 % per K), and
    # 60 mohm of old joints in each core of each run.
    old_v = 2 * 0.06 * sum(beyond_a)
    worst_v = 24 * 0.96 - 1.4 * (copper_v * 1.3 * (1 + 0.00393 * 16) + old_v + heads_v + panel_v)
    assert row.reach.low == pytest.approx(worst_v, abs=2e-3)


def test_volts_at_the_end_of_the_battery_start_from_its_own() -> None:
    # 20.4 V behind 0.5 ohm, which also carries the panel's 160 ohm; then the output's own 0.5 ohm and the copper.
    design = check(Change("bench_four_wire_bare"))
    on_mains, at_end = (find_row(design, "volts", "det4", c).reach.nominal for c in ("standby", "battery"))
    panel_a = 20.4 / 160.5
    assert at_end == pytest.approx(20.4 - 0.5 * panel_a - (24 - on_mains), abs=5e-3)


def test_normal_keeps_to_the_divider_at_the_corners_of_the_tolerances() -> None:
    # V = E R / (R + r): E = 24 V +- 4 %, r = 1 kohm +- 2 %, R = 4.7 kohm +- 3 %; copper and joints add 0.1 %.
    row = find_row(check(Change("bench_four_wire")), "window", "zone1", "standby")
    for side, shown in ((-1, row.reach.low), (0, row.reach.nominal), (1, row.reach.high)):
        emf_v, end_ohm, source_ohm = 24 * (1 + side * 0.04), 4700 * (1 + side * 0.03), 1000 * (1 - side * 0.02)
        assert shown == pytest.approx(emf_v * end_ohm / (end_ohm + source_ohm), abs=6e-3)


def test_missing_end_resistor_leaves_the_source_less_what_detectors_draw() -> None:
    # Ohm's law at the zone's source: 24 V - n x 0.1 mA x 1 kohm.
    for count in (5, 20):
        row = find_row(check_design(wire_quick("two_wire_zone", count)), "window", "zone1", "open")
        assert row.reach.nominal == pytest.approx(24 - count * 0.1, abs=2e-3)


@pytest.mark.parametrize(("standby_a", "open_from_v"), [(1e-4, 21.55), (3e-4, 21.55), (1e-4, 22.35), (5e-5, 22.33)])
def test_zone_carries_as_many_as_its_allowance_divided_by_the_current_of_one(
    standby_a: float, open_from_v: float
) -> None:
    # N = allowance / standby current, rounded down (check lists of two-wire compatibility, from memory); here what
    # may be drawn through the source before an open falls out of its window: (E - V open) / r.
    panel = Change("bench_two_wire", "panel", (("open_from_v", f"{open_from_v} V"),))
    site = read_site(SITES[0].with_name("bench_two_wire.yaml"))
    loop = wire(panel)
    each = loop.chains[0].spec.each.model_copy(
        update={"values": {"standby_a": f"{standby_a * 1e3} mA", "low_volts_ohm": "none"}}
    )
    told = {"panel": loop.site.panel, "loops": (loop.chains[0].spec.model_copy(update={"each": each}),)}
    design = check_design(build_loop(site.model_copy(update=told)))
    (row,) = [r for r in design.rows if r.check == "carries"]
    assert row.reach.nominal == math.floor((24 - open_from_v) / 1000 / standby_a)
    assert row.limit == "open"
    # At the corner E is 4 % less, r 2 % more and each draws 30 % more.
    assert row.reach.low == max(0, math.floor((24 * 0.96 - open_from_v) / 1020 / (1.3 * standby_a)))


@pytest.mark.parametrize("limit_ma", [70, 95, 130])
def test_output_carries_as_many_as_its_rating_divided_by_the_current_of_one_in_alarm(limit_ma: int) -> None:
    # Two conditions of one formula: rating >= n x 20 mA + 23.4 V / 2.4 kohm of the supervision relay's coil.
    (row,) = [
        r
        for r in check(Change("sawmill", "panel", (("switched_limit_a", f"{limit_ma} mA"),))).rows
        if r.check == "carries"
    ]
    assert row.reach.nominal == math.floor((limit_ma - 1e3 * 23.3 / 2400) / 20)
    assert row.limit == "load"


def test_one_detector_more_than_a_zone_carries_hides_a_missing_resistor() -> None:
    carries = [r.reach.nominal for r in check_design(wire_quick("two_wire_zone", 8)).rows if r.check == "carries"]
    assert carries == [23]
    found = {n: find_codes(check_design(wire_quick("two_wire_zone", n))).get("D205") for n in (10, 11, 23, 24)}
    assert found == {10: None, 11: "note", 23: "note", 24: "warning"}


def test_current_of_detectors_in_alarm_adds_up_at_the_output_and_in_the_contact() -> None:
    design = check(Change("bench_four_wire_bare"))
    assert find_row(design, "load", "reset", "alarm").reach.nominal == pytest.approx(0.080, rel=1e-3)
    assert find_row(design, "load", "reset", "standby").reach.nominal == pytest.approx(0.0002, rel=1e-3)
    assert find_row(design, "load", "reset", "alarm").reach.high == pytest.approx(0.112, rel=1e-3)  # 20 % twice over
    # The output feeds earth detection too: 24 V across 2 x 100 kohm.
    assert find_row(design, "load", "aux", "alarm").reach.nominal == pytest.approx(0.080 + 24 / 200e3, rel=1e-3)


def test_load_is_what_is_asked_for_not_what_the_limit_lets_through() -> None:
    design = check(Change("mill", "panel", (("switched_limit_a", "30 mA"),)))
    assert find_row(design, "load", "switched", "alarm").reach.nominal == pytest.approx(0.0897, abs=5e-4)
    assert find_codes(design)["D202"] == "warning"


def test_battery_must_hold_the_hours_of_the_rule() -> None:
    # A published worked example: 0.42 A and 3.8 A, 24 h and 5 min, come to 10.397 Ah before any margin.
    assert find_needed_ah(0.42, 3.8, "north_america") == pytest.approx(10.397, abs=5e-4)
    assert {rule: (h, 60 * a) for rule, (h, a) in BACKUP_H.items()} == {
        "north_america": (24.0, 5.0), "europe": (24.0, 30.0),
    }  # fmt: skip
    # The panel's 160 ohm on a 25 V battery of 0.5 ohm, the zone's 4.2 mA and earth detection.
    battery_v = 25 * 160 / 160.5
    standby_a = battery_v / 160 + battery_v / 5700 + battery_v / 200e3
    row = find_row(check(Change("bench_four_wire_bare")), "battery", "battery", "north_america")
    assert row.reach.nominal == pytest.approx(24 * standby_a + 5 / 60 * (standby_a + 0.080 + 0.020), rel=5e-3)


@pytest.mark.parametrize("name", ["bakery", "guest_house", "mill", "nursery"])
def test_no_mixture_of_tolerances_goes_beyond_the_corner(name: str) -> None:
    loop = wire(Change(name))
    pairs = [(z.plus, z.minus) for z in loop.zones] + [(d.plus, d.minus) for d in loop.detectors]
    reaches = find_reaches(loop, [Case()], [(0, pair) for pair in pairs])
    draw = np.random.default_rng(7)
    for _ in range(25):
        mixed = dict(zip(loop.unknowns, draw.uniform(-TOLERANCE_SDS, TOLERANCE_SDS, len(loop.unknowns)), strict=True))
        settled = settle_cases(shift_unknowns(loop, mixed), [Case()])
        for pair, reach in zip(pairs, reaches, strict=True):
            assert reach.low - 1e-6 <= settled.volts(*pair)[0] <= reach.high + 1e-6


# Code → site and part, the value that is its limit, the row that it is about (check, at, condition), and its unit.
EDGES = {
    "D201": (Change("bench_four_wire_bare", "each"), "minimum_v", ("volts", "det4", "battery_alarm"), "V"),
    "D202 output": (Change("mill", "panel"), "switched_limit_a", ("load", "switched", "alarm"), "A"),
    "D202 contact": (Change("pottery", "reset_relay"), "contact_limit_a", ("load", "reset", "alarm"), "A"),
    "D202 zone": (Change("bakery", "panel"), "zone_limit_a", ("load", "zone1", "alarm"), "A"),
    "D202 module": (Change("orchard", "module"), "loop_limit_a", ("load", "loop", "alarm"), "A"),
    "D203": (Change("bench_two_wire", "panel"), "normal_from_v", ("window", "zone1", "standby"), "V"),
    "D203 module": (Change("guest_house", "module"), "normal_from_v", ("window", "loop", "standby"), "V"),
    "D204": (Change("bench_two_wire", "panel"), "alarm_below_v", ("window", "zone1", "alarm"), "V"),
    "D205": (Change("bench_two_wire", "panel"), "open_from_v", ("window", "zone1", "open"), "V"),
    "D206": (
        Change("bench_two_wire", "panel", (("short_state", "trouble"),)), "short_below_v",
        ("window", "zone1", "short"), "V",
    ),
    "D207": (Change("bench_two_wire", "each"), "release_v", ("latch", "det5", "alarm"), "V"),
    "D208": (Change("bench_two_wire", "each"), "maximum_v", ("most_volts", "det1", "standby"), "V"),
    "D208 module": (Change("guest_house", "module"), "maximum_v", ("most_volts", "module", "standby"), "V"),
}  # fmt: skip


@pytest.mark.parametrize("name", EDGES)
def test_each_code_stands_on_the_wrong_side_of_its_edge_only(name: str) -> None:
    change, value, where, unit = EDGES[name]
    code = name.partition(" ")[0]
    row = find_row(check(change), *where)
    from_above = value in {"alarm_below_v", "short_below_v", "maximum_v"} or unit == "A"
    corner = row.reach.high if from_above else row.reach.low
    step = (row.reach.nominal - corner) * 0.02  # a little to the far side of the nominal value
    texts = [f"{number:.9f} {unit}" for number in (corner - step, (corner + row.reach.nominal) / 2)]
    fine, thin = (check(change.but(value, text)) for text in texts)
    wrong = check(change.but(value, f"{row.reach.nominal + step:.9f} {unit}"))
    assert [find_codes(d).get(code) for d in (fine, thin, wrong)] == [None, "note", "warning"]
    (flaw,) = [f for f in wrong.flaws if f.code == code and f.row is not None and f.row.at == where[1]]
    assert flaw.row is not None
    assert flaw.row.given
    assert (flaw.row.check, flaw.row.condition) == (where[0], where[2])


def test_every_code_is_reached() -> None:
    told = {name.partition(" ")[0] for name in EDGES} | {DEFECTS[d] for d in ("supply_not_supervised", "never_reset")}
    assert told | {"D213", "D214"} == {*CODES.values(), *OWN_CODES.values(), *DEFECTS.values()}


def test_co_detectors_that_report_nowhere_are_a_complaint() -> None:
    loop = wire(Change("guest_house"))
    lonely = loop.site.model_copy(update={"loops": (loop.chains[0].spec.model_copy(update={"co_zone": None}),)})
    assert find_codes(check_design(build_loop(lonely))) == {"D213": "warning"}


def test_alarm_through_a_resistor_is_no_short_where_a_short_is_trouble() -> None:
    # 470 ohm beside 4.7 kohm, behind 1 kohm on 24 V: 7.18 V, between 2 V and 9 V; a bare contact looks like a short.
    row = find_row(check(Change("chapel")), "window", "zone1", "alarm")
    assert row.reach.nominal == pytest.approx(24 * 427.3 / 1427.3, abs=0.02)
    assert (row.floor, row.ceiling) == (2.0, 9.0)
    bare = check(Change("chapel", "each", (("alarm_series_ohm", "0 ohm"),)))
    assert find_codes(bare)["D204"] == "warning"


def test_zone_behind_a_module_is_not_blamed_for_the_modules_loop() -> None:
    design = check(Change("guest_house", "module", (("normal_from_v", "17 V"),)))
    assert {(f.code, f.row.at) for f in design.flaws if f.row} == {("D203", "loop")}


@pytest.mark.parametrize("reset", [r for r in Reset if r is not Reset.ZONE])
def test_load_is_told_of_whatever_feeds_the_detectors(reset: Reset) -> None:
    loop = wire(Change("bench_four_wire"))
    spec = loop.chains[0].spec.model_copy(update={"reset": reset})
    design = check_design(build_loop(loop.site.model_copy(update={"loops": (spec,)})))
    fed = {
        Reset.RESETTABLE_OUTPUT: {"switched"},
        Reset.SEPARATE_SUPPLY: {"supply", "reset"},
        Reset.RELAY: {"aux", "reset"},
    }
    assert {row.at for row in design.rows if row.check == "load"} == fed.get(reset, {"aux"})


@pytest.mark.parametrize(
    ("site", "part", "value", "text", "code"),
    [
        ("bakery", "panel", "zone_v", "1 V", "D201"), ("bakery", "panel", "leak_ohm", "1 Ω", "D203"),
        ("orchard", "panel", "aux_v", "1 mV", "D201"), ("bakery", "panel", "battery_end_v", "0 V", "D201"),
        ("bakery", "each", "standby_a", "1 A", "D205"), ("sawmill", "panel", "switched_limit_a", "1 µA", "D202"),
        ("bakery", "each", "release_v", "900 V", "D207"), ("bakery", "cable", "length_spread", "400 %", ""),
        ("sawmill", "each", "reversed", "works", ""), ("orchard", "each", "low_volts_ohm", "1 Ω", ""),
    ],
)  # fmt: skip
def test_values_beyond_all_sense_are_complained_of_and_every_number_is_one(
    site: str, part: str, value: str, text: str, code: str
) -> None:
    design = check(Change(site, part, ((value, text),)))
    assert all(math.isfinite(v) for r in design.rows for v in (r.reach.nominal, r.reach.low, r.reach.high))
    assert code in find_codes(design) or not code


def test_detectors_of_12_v_are_not_hung_on_24_v() -> None:
    """By hand: 24 V · 4.7/5.7 less 2.5 mA through some ohms is 19 V in standby; a head for 12 V is made for 16 V."""
    site = read_site(SITES[0].with_name("smithy.yaml"))
    assert not [f for f in check_design(build_loop(site)).flaws if f.code == "D208"]
    mixed = build_loop(site.model_copy(update={"panel": PartSpec(profile="panel_24v")}))
    (flaw,) = (f for f in check_design(mixed).flaws if f.code == "D208")
    assert flaw.severity == "warning"
    assert flaw.row is not None
    assert flaw.row.ceiling == 16.0
    assert flaw.row.reach.nominal == pytest.approx(19.4, abs=0.3)
