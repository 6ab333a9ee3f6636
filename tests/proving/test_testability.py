"""Testability: what the panel cannot see, and sets of measurements held to trial and to invented, drawn loops.

The rows that a panel shows as *normal* are those of the consequence table of the design page (section 4), reasoned at
the terminals. Everything else is *common practice, no source*, and the numbers are invented.
"""

import functools
import itertools
import operator
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.circuit import STANDBY
from diagnostics.faults import parse_fault
from diagnostics.locate import find_shipped
from diagnostics.proving import Testability as Told
from diagnostics.proving import check_testability
from diagnostics.proving.testability import Least, tell_apart, unpack_rows
from diagnostics.readings import Bench, Forecast, Measurement, find_own_sd, find_sd, list_measurements, predict_mode
from diagnostics.readings.meter import Unit
from diagnostics.reasoning import APART, list_hypotheses, rate_differences
from diagnostics.wiring import Loop, build_loop, read_site, shift_unknowns
from tests.wiring.quick import wire_quick

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
TWO_WIRE, FOUR_WIRE, BARE = "bench_two_wire", "bench_four_wire", "bench_four_wire_bare"
MODULE_FOUR, MODULE_TWO = "bench_module_four_wire", "bench_module_two_wire"
# Fault and site, row by row as the table has them with *normal* in bold.
NORMAL = [
    (BARE, "conductor_open@det3.in+"), (BARE, "pair_short@det3.in_power"), (FOUR_WIRE, "end_relay_before_end@det2"),
    (TWO_WIRE, "polarity_reversed@det3"), (TWO_WIRE, "in_out_swapped@det3"), (TWO_WIRE, "end_resistor_on_in@end"),
    (TWO_WIRE, "end_resistor_before_end@det3"), (TWO_WIRE, "joint_resistive=300@det3.in+"),
    (FOUR_WIRE, "reset_bypassed@reset"), (FOUR_WIRE, "contact_welded@reset"),
    (FOUR_WIRE, "reset_relay_never_operates@reset"), (MODULE_TWO, "outputs_exchanged@module"),
    (MODULE_TWO, "zone_settings_exchanged@panel"), (TWO_WIRE, "zone_bypassed@zone1"),
    (TWO_WIRE, "zone_unsupervised@zone1"), (TWO_WIRE, "two_detector_rule@zone1"), (TWO_WIRE, "battery_dead@panel"),
]  # fmt: skip
SHOWN = [
    (TWO_WIRE, "end_resistor_missing@end"), (TWO_WIRE, "conductor_open@det3.in+"), (TWO_WIRE, "pair_short@det3.in"),
    (FOUR_WIRE, "conductor_open@det3.in+"), (FOUR_WIRE, "supply_on_no@reset"), (FOUR_WIRE, "com_not_fed@reset"),
    (MODULE_FOUR, "panel_resistor_missing@module.fire"), (TWO_WIRE, "zone_resistor_setting@zone1"),
]  # fmt: skip


@cache
def wire(site: str) -> Loop:
    return build_loop(read_site(find_shipped("cases") / "sites" / f"{site}.yaml"))


@cache
def check(site: str) -> Told:
    return check_testability(wire(site))


@cache
def prepare(site: str) -> tuple[Bench, tuple[Measurement, ...], tuple[Array, ...]]:
    """Return a bench, its measurements, and d′ of every two hypotheses in each of them."""
    loop = wire(site)
    bench, measurements = Bench(loop, list_hypotheses(loop)), list_measurements(loop)
    return bench, measurements, tuple(rate_differences(f, bench.meter) for f in bench.forecast_all(measurements))


def find_least(site: str, purpose: str) -> Least:
    return next(least for least in check(site).least if least.purpose == purpose)


@pytest.mark.parametrize(("site", "text"), NORMAL, ids=[f"{t}-{s}" for s, t in NORMAL])
def test_every_row_that_the_table_calls_normal_is_among_what_the_panel_cannot_see(site: str, text: str) -> None:
    assert parse_fault(text, wire(site)) in {u.fault for u in check(site).unseen}


@pytest.mark.parametrize(("site", "text"), SHOWN, ids=[f"{t}-{s}" for s, t in SHOWN])
def test_what_the_table_calls_trouble_or_alarm_is_not_among_it(site: str, text: str) -> None:
    assert parse_fault(text, wire(site)) not in {u.fault for u in check(site).unseen}


@pytest.mark.parametrize("site", [TWO_WIRE, MODULE_TWO])
def test_the_panel_is_blind_to_exactly_what_each_prediction_shows_as_the_sound_loop(site: str) -> None:
    loop = wire(site)
    sound = predict_mode(loop, (), STANDBY).panel
    faults = [h[0] for h in list_hypotheses(loop)[1:]][::7]
    blind = {f for f in faults if predict_mode(loop, (f,), STANDBY).panel == sound}
    assert blind == {u.fault for u in check(site).unseen} & set(faults)
    assert 0 < len(blind) < len(faults)


@pytest.mark.parametrize("site", [TWO_WIRE, BARE])
def test_what_finds_an_unseen_fault_is_the_cheapest_that_does(site: str) -> None:
    bench, measurements, apart = prepare(site)
    for unseen in check(site).unseen:
        number = bench.hypotheses.index((unseen.fault,))
        able = [m for m, far in zip(measurements, apart, strict=True) if far[0, number] >= APART]
        assert (unseen.found_by is None) == (not able)
        assert unseen.minutes == min((m.find_minutes("panel") for m in able), default=0.0)
        assert (unseen.how == "eye") == bool(able and all(m.kind == "look" for m in able))
        if not able:
            share = max(unseen.fault.data.sees.share, unseen.fault.data.settings_share)
            assert unseen.how == ("perhaps" if share else "nothing")


def test_each_way_to_find_what_the_panel_cannot_see_occurs() -> None:
    assert {u.how for site in (TWO_WIRE, FOUR_WIRE, BARE) for u in check(site).unseen} >= {"measured", "eye", "perhaps"}


@pytest.mark.parametrize("site", [TWO_WIRE, FOUR_WIRE, MODULE_TWO])
def test_the_least_sets_do_what_all_measurements_do_and_are_proved(site: str) -> None:
    bench, measurements, apart = prepare(site)
    most = np.max(apart, axis=0)
    for least in check(site).least:
        wanted = find_wanted(bench, least.purpose)
        assert least.pairs == wanted.sum() // 2
        assert least.able == (wanted & (most >= APART)).sum() // 2
        for kit in (least.fewest, least.quickest):
            inside = np.max([apart[measurements.index(m)] for m in kit.measurements], axis=0)
            assert ((inside >= APART) == (most >= APART))[wanted].all()
            assert kit.is_proved
            assert kit.minutes == pytest.approx(walk_minutes(kit.measurements))
        assert len(least.fewest.measurements) == least.fewest.bound <= len(least.quickest.measurements)
        assert least.quickest.minutes == pytest.approx(least.quickest.bound)
        assert least.quickest.minutes <= least.fewest.minutes + 1e-6
        assert least.fewest.minutes == pytest.approx(least.fewest_minutes_bound)


def find_wanted(bench: Bench, purpose: str) -> Flags:
    """Return which two must be told apart: with the sound loop, mended otherwise, any, (hypothesis, hypothesis)."""
    count = len(bench.hypotheses)
    numbers = range(count)
    classes = [h[0].repair_class if h else None for h in bench.hypotheses]
    told = {
        "detect": [[0 in {a, b} and a != b for b in numbers] for a in numbers],
        "repair": [[classes[a] != classes[b] for b in numbers] for a in numbers],
        "separate": [[a != b for b in numbers] for a in numbers],
    }
    return np.array(told[purpose])


def walk_minutes(measurements: tuple[Measurement, ...]) -> float:
    """Walk a set once round, place by place, and come back to the panel."""
    at, minutes = "panel", 0.0
    for m in sorted(measurements, key=lambda m: (m.place != "panel", m.place)):
        minutes += m.find_minutes(at)
        at = m.place
    return minutes + (1.5 if at != "panel" else 0.0)


def test_no_smaller_set_separates_a_tiny_loop() -> None:
    loop = wire_quick("two_wire_zone", 2)
    bench, measurements = Bench(loop, list_hypotheses(loop)), list_measurements(loop)
    rows = unpack_rows(tell_apart(bench, measurements).bits, len(measurements))
    rows = np.unique(rows[rows.any(axis=1)], axis=0)
    needed = sorted({int(row.argmax()) for row in rows if row.sum() == 1})
    rest = rows[~rows[:, needed].any(axis=1)]
    free = [c for c in range(len(measurements)) if c not in needed]
    whole = (1 << len(rest)) - 1  # a bit for each row that must be covered
    covers = [sum(1 << int(r) for r in np.flatnonzero(rest[:, c])) for c in free]
    sizes = (
        n for n in range(len(free)) for some in itertools.combinations(covers, n)
        if functools.reduce(operator.or_, some, 0) == whole
    )  # fmt: skip
    separate = check_testability(loop).least[-1]
    assert rest.size
    assert len(separate.fewest.measurements) == len(needed) + next(sizes)


def test_members_of_a_group_are_alike_in_every_measurement_and_others_are_not_left_out() -> None:
    bench, _, apart = prepare(FOUR_WIRE)
    most = np.max(apart, axis=0)
    told = check(FOUR_WIRE)
    for group in told.alike:
        some = [bench.hypotheses.index(m) for m in group.members]
        assert most[np.ix_(some, some)].max() < APART
        assert set(group.repairs) == {m[0].repair_class for m in group.members if m}
    grouped = {m for group in told.alike for m in group.members}
    loners = [n for n, h in enumerate(bench.hypotheses) if h not in grouped]
    assert loners
    assert len(set(itertools.chain(*(g.members for g in told.alike)))) == sum(len(g.members) for g in told.alike)
    assert 0 < told.alone < 1 < told.mean_group


def test_more_than_one_wire_of_the_same_run_is_mended_by_one_work() -> None:
    """Two places of one fault that nobody can tell apart, by one repair, are no loss; the table says which are."""
    several = [g for g in check(TWO_WIRE).alike if not g.has_sound]
    assert any(len(g.repairs) == 1 for g in several)
    assert any(len(g.repairs) > 1 for g in several)


@pytest.mark.parametrize("site", [TWO_WIRE, FOUR_WIRE])
def test_drawn_loops_are_told_from_the_sound_one_by_the_set_that_detects(site: str) -> None:
    """Every unknown is drawn, the whole circuit solved anew and read by the meter: what d′ claims must come true."""
    right = [x for seed in range(6) for x in judge_drawn(site, "detect", seed)]
    assert len(right) > 500
    assert np.mean(right) >= 0.97


def test_drawn_loops_are_told_from_every_other_fault_by_the_set_that_separates() -> None:
    right = [x for seed in range(3) for x in judge_drawn(TWO_WIRE, "separate", seed)]
    assert len(right) > 40_000
    assert np.mean(right) >= 0.97


def judge_drawn(site: str, purpose: str, seed: int) -> list[bool]:
    """Return for each pair that the least set claims to tell apart whether drawn readings fit the true one better."""
    bench, measurements, apart = prepare(site)
    kit = find_least(site, purpose).fewest.measurements
    rng = np.random.default_rng(seed)
    drawn = shift_unknowns(bench.loop, {name: float(rng.normal()) for name in bench.loop.unknowns})
    truth = Bench(drawn, bench.hypotheses).forecast_all(kit)
    told_so = zip(truth, bench.forecast_all(kit), strict=True)
    fits = np.sum([rate_drawn(there, here, bench, rng) for there, here in told_so], axis=0)
    told = np.max([apart[measurements.index(m)] for m in kit], axis=0) >= APART
    others = [0] if purpose == "detect" else range(len(bench.hypotheses))
    pairs = ((a, b) for a in range(1, len(bench.hypotheses)) for b in others if told[a, b])
    return [bool(fits[a, a] > fits[a, b]) for a, b in pairs]


def rate_drawn(truth: Forecast, told: Forecast, bench: Bench, rng: np.random.Generator) -> Array:
    """Return the log likelihood of a drawn reading of each fault under each hypothesis, (true, held)."""
    if told.chance is not None and truth.chance is not None:
        said = [truth.tokens[rng.choice(len(row), p=row)] for row in truth.chance]
        at = [told.tokens.index(t) if t in told.tokens else -1 for t in said]
        words: Array = np.log(told.chance.T[at])
        return words
    assert told.mean is not None
    assert truth.mean is not None
    unit: Unit = "ohm" if told.measurement.kind == "ohms" else "V"
    shown = truth.mean + rng.normal(size=truth.mean.size) * find_sd(truth.mean, unit, bench.meter)
    sd = np.hypot(told.spread, find_own_sd(told.mean, unit, bench.meter))
    if unit == "ohm":  # over-range is one reading, as far away on the scale as the meter goes
        shown, mean = (np.clip(x, 0.1, bench.meter.ohms_over) for x in (shown, told.mean))
        sd = np.where(told.mean >= bench.meter.ohms_over, find_own_sd(mean, unit, bench.meter), sd) / mean
        return _rate_normal(np.log(shown), np.log(mean), sd)
    return _rate_normal(shown, told.mean, sd)


def _rate_normal(shown: Array, mean: Array, sd: Array) -> Array:
    far = (shown[:, None] - mean[None]) / sd[None]
    rated: Array = -0.5 * np.minimum(far**2, 30.0) - np.log(sd)[None]
    return rated
