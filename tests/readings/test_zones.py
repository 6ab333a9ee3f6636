"""Two zones: how their chances add up and swap, what reports on the wrong one; what a module's site can be asked.

The order of a panel's states, alarm before supervisory before trouble, is that of NFPA 72 (signal priority, seen in
secondary texts). Numbers are invented.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.circuit import Settled, apply_steps, build_network, build_steps, parse_mode, settle_from_rest
from diagnostics.faults import build_all_edits, list_faults, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import (
    STATES,
    Forecast,
    Measurement,
    find_look_place,
    list_measurements,
    list_tokens,
    parse_measurement,
    parse_value,
)
from diagnostics.readings import Bench as Forecasts
from diagnostics.readings.states import find_zone_chances
from diagnostics.reasoning import list_hypotheses
from diagnostics.reports import Words
from diagnostics.wiring import EARTH, Loop, build_loop, read_site
from tests.wiring.benches import (
    FOUR_WIRE,
    MODULE_FOUR_WIRE,
    MODULE_TWO_WIRE,
    Bench,
    build_bench_site,
    wire_bench,
)

Array = NDArray[np.float64]
M, N = Bench(MODULE_TWO_WIRE), Bench(MODULE_FOUR_WIRE)
UNSUPERVISED = replace(N, end_relay=False)
MODULES = [M, N]
each_module = pytest.mark.parametrize("bench", MODULES, ids=lambda b: b.style)
# Every style and every supply path, each with every fault; three detectors are enough for a first, a middle and a last.
FEW = {MODULE_TWO_WIRE: ("smoke", "co", "smoke"), MODULE_FOUR_WIRE: ("smoke", "co", "smoke"), FOUR_WIRE: ("smoke",) * 2}
SMALL = [
    Bench("two_wire_zone", kinds=("smoke",) * 2),
    *[Bench(FOUR_WIRE, reset, kinds=FEW[FOUR_WIRE]) for reset in ("relay", "minus_switched", "resettable_output")],
    *[Bench(MODULE_TWO_WIRE, reset, kinds=FEW[MODULE_TWO_WIRE]) for reset in ("always_on", "separate_supply")],
    *[Bench(MODULE_FOUR_WIRE, reset, kinds=FEW[MODULE_FOUR_WIRE]) for reset in ("relay", "minus_switched")],
    Bench(MODULE_FOUR_WIRE, "resettable_output", end_relay=False, kinds=FEW[MODULE_FOUR_WIRE]),
]
each_small = pytest.mark.parametrize("bench", SMALL, ids=lambda b: f"{b.style}, {b.reset}")


@cache
def settle(bench: Bench, mode: str, *texts: str) -> Settled:
    """Return the bench under each of some faults, a column each; without any under every single fault."""
    loop = wire_bench(bench)
    hypotheses = [parse_faults(text, loop) for text in texts] or list_hypotheses(loop)
    rest = settle_from_rest(build_network(loop, [build_all_edits(loop, h) for h in hypotheses]))
    return apply_steps(rest, build_steps(parse_mode(mode, loop), loop))


def forecast(bench: Bench, texts: Sequence[str], measurement: Measurement) -> Forecast:
    loop = wire_bench(bench)
    return Forecasts(loop, [parse_faults(text, loop) for text in texts]).forecast_all([measurement])[0]


def chances(found: Forecast, row: int = 0) -> dict[str, float]:
    assert found.chance is not None
    return dict(zip(found.tokens, (float(c) for c in found.chance[row]), strict=True))


def find(bench: Bench, kind: str, at: str) -> Measurement:
    return next(m for m in list_measurements(wire_bench(bench)) if m.kind == kind and m.at == at)


# How two zones add up.
def combine(first: Array, second: Array) -> Array:
    """Add up by hand: every pair of states, the more urgent of the two shown."""
    urgent = ("normal", "trouble", "supervisory", "alarm")
    whole = np.zeros_like(first)
    for a, b in product(STATES, repeat=2):
        shown = max(a, b, key=urgent.index)
        whole[:, STATES.index(shown)] += first[:, STATES.index(a)] * second[:, STATES.index(b)]
    return whole


@pytest.mark.parametrize("mode", ["standby", "alarm:det1", "alarm:det2", "head_off:det3", "during_reset"])
@each_module
def test_panel_as_a_whole_shows_the_more_urgent_of_its_two_zones(bench: Bench, mode: str) -> None:
    settled = settle(bench, mode)
    fire, co, whole = (find_zone_chances(settled, name)[1] for name in ("zone1", "zone2", ""))
    for each in (fire, co, whole):
        assert np.allclose(each.sum(axis=1), 1.0, rtol=0, atol=1e-9)
        assert each.min() >= 0.0
    assert np.allclose(whole, combine(fire, co), rtol=0, atol=1e-9)


def test_faults_of_the_benches_bring_every_state_to_the_combined_display() -> None:
    shown = [find_zone_chances(settle(b, m))[1] for b in MODULES for m in ("standby", "alarm:det1", "alarm:det2")]
    assert {STATES[n] for each in shown for n in each.argmax(axis=1)} == set(STATES)


@pytest.mark.parametrize("mode", ["standby", "alarm:det1", "alarm:det2", "alarm:det3", "known_resistor:4k7"])
@pytest.mark.parametrize(
    "other", ["", "panel_resistor_missing@module.fire", "module_dead@module", "zone_bypassed@zone1"]
)
@each_module
def test_settings_exchanged_swap_what_the_two_zones_show_and_nothing_else(bench: Bench, other: str, mode: str) -> None:
    exchanged = ",".join(filter(None, (other, "zone_settings_exchanged@panel")))
    settled = settle(bench, mode, other, exchanged)
    fire, co, whole = (find_zone_chances(settled, name)[1] for name in ("zone1", "zone2", ""))
    assert np.allclose(fire[1], co[0], rtol=0, atol=1e-12)
    assert np.allclose(co[1], fire[0], rtol=0, atol=1e-12)
    assert np.allclose(whole[1], whole[0], rtol=0, atol=1e-12)
    for red, black in wire_bench(bench).meter_points:
        assert np.ptp(settled.volts(red, black)) < 1e-9


# What a functional test finds out.
EXCHANGED = ("outputs_exchanged@module", "zones_exchanged@panel", "zone_settings_exchanged@panel")


@each_module
def test_detector_of_either_kind_reports_on_the_wrong_zone_when_they_are_exchanged(bench: Bench) -> None:
    for name in ("det1", "det2", "det3"):
        found = forecast(bench, ("", *EXCHANGED), find(bench, "functional_test", name))
        assert chances(found)["reports_and_clears"] > 0.95
        assert all(chances(found, row)["reports_wrong_zone"] > 0.95 for row in (1, 2, 3))


@pytest.mark.parametrize(
    ("fault", "fire", "co"),
    [
        ("module_dead@module", "no_report", "no_report"),
        ("zone_bypassed@zone1", "no_report", "reports_and_clears"),
        ("two_detector_rule@zone2", "reports_and_clears", "no_report"),
        ("panel_resistor_missing@module.fire", "reports_and_clears", "reports_and_clears"),
        ("conductor_open@module.fire+", "no_report", "reports_and_clears"),
        ("reset_bypassed@reset", "reports_and_stays", "reports_and_stays"),
        ("reset_not_assigned@panel", "reports_and_stays", "reports_and_stays"),
        ("pair_short@module.co", "alarm_already", "alarm_already"),
    ],
)
def test_outcome_of_a_test_by_fault_and_kind_of_detector(fault: str, fire: str, co: str) -> None:
    for bench, smoke, gas in ((M, "det1", "det3"), (N, "det1", "det2")):
        for name, outcome in ((smoke, fire), (gas, co)):
            found = chances(forecast(bench, [fault], find(bench, "functional_test", name)))
            assert max(found, key=lambda token: found[token]) == outcome, (bench.style, name)


@pytest.mark.parametrize(
    ("fault", "at", "token", "share"),
    [
        ("outputs_exchanged@module", "module", "outputs_exchanged", 0.75),
        ("zones_exchanged@panel", "panel", "zones_exchanged", 0.75),
        ("zone_settings_exchanged@panel", "panel", "as_it_should_be", 1.0),
    ],
)
@each_module
def test_eye_and_a_review_of_settings_split_the_three_ways_to_exchange_two_zones(
    bench: Bench, fault: str, at: str, token: str, share: float
) -> None:
    looked = chances(forecast(bench, [fault], find(bench, "look", at)))
    assert looked[token] == pytest.approx(share, abs=0.02)
    reviewed = chances(forecast(bench, [fault], find(bench, "settings", "panel")))
    assert (reviewed["setting_wrong"] > 0.5) == (fault == "zone_settings_exchanged@panel")


# What can be measured on a module's site.
@each_module
def test_panel_and_known_resistor_are_asked_of_each_zone_by_its_name(bench: Bench) -> None:
    offered = list_measurements(wire_bench(bench))
    for kind in ("panel_shows", "known_resistor"):
        assert [m.at for m in offered if m.kind == kind] == ["zone1", "zone2"]
    assert {("panel.zone1+", "panel.zone1-"), ("panel.zone2+", "panel.zone2-")} <= {(m.red, m.black) for m in offered}


def test_known_resistor_is_the_one_that_its_own_zone_wants() -> None:
    site = build_bench_site(M)
    co = site.zones["zone2"].model_copy(update={"end_resistor": 2200.0})
    loop = build_loop(site.model_copy(update={"zones": {**site.zones, "zone2": co}}))
    asked = {m.at: m for m in list_measurements(loop) if m.kind == "known_resistor"}
    assert [asked[zone].mode.resistance_ohm for zone in ("zone1", "zone2")] == [4700.0, 2200.0]
    for found in Forecasts(loop, [()]).forecast_all(list(asked.values())):
        assert chances(found)["normal"] > 0.95


LOOP, FIRE, CO = (
    ("module.loop+", "module.loop-"),
    ("module.loop_fire+", "module.loop_fire-"),
    ("module.loop_co+", "module.loop_co-"),
)
OHMS = [
    (M, {LOOP: "lifted"}),
    (N, {FIRE: "lifted", CO: "lifted_supply_on"}),
    (replace(N, kinds=("co", "smoke")), {FIRE: "lifted_supply_on", CO: "lifted"}),
    (UNSUPERVISED, {FIRE: "lifted", CO: "lifted"}),
]


@pytest.mark.parametrize(("bench", "modes"), OHMS, ids=["two-wire", "CO last", "smoke last", "unsupervised"])
def test_ohms_are_taken_on_the_modules_own_pairs_with_the_supply_on_where_a_relay_must_hold(
    bench: Bench, modes: dict[tuple[str, str], str]
) -> None:
    loop = wire_bench(bench)
    ohms = [m for m in list_measurements(loop) if m.kind == "ohms" and m.black != EARTH]
    wanted = {**modes, **{(b, r): mode for (r, b), mode in modes.items()}}
    assert {(m.red, m.black): m.mode.text for m in ohms} == wanted
    found = Forecasts(loop, [()]).forecast_all(ohms)
    # The right resistor, but for the detectors of a two-wire loop that a forward ohmmeter sees beside it: 5 × 3 MΩ.
    assert [float((f.mean if f.mean is not None else np.zeros(1))[0]) for f in found] == pytest.approx(
        [3300.0] * len(ohms), rel=0.01
    )


@each_module
def test_question_for_ohms_says_whether_the_supply_stays_on_and_names_no_zone_pair(bench: Bench) -> None:
    loop = wire_bench(bench)
    for m in list_measurements(loop):
        if m.kind == "ohms" and m.black != EARTH:
            asked = Words(loop).ask(m)
            assert ("supply left on" in asked) == (m.mode.text == "lifted_supply_on")
            assert ("battery off" in asked) == (m.mode.text == "lifted")
            assert "zone" not in asked


IN_RESET = {
    "relay": {"reset.com", "reset.nc", "reset.no", "panel.reset+"},
    "separate_supply": {"reset.com", "reset.nc", "reset.no", "panel.reset+"},
    "resettable_output": {"panel.switched+"},
    "minus_switched": {"panel.aux+"},
    "always_on": set(),
}


@pytest.mark.parametrize("reset", IN_RESET)
@pytest.mark.parametrize("bench", [M, N, Bench(FOUR_WIRE)], ids=lambda b: b.style)
def test_volts_during_reset_are_offered_along_the_supply_path_coil_included(bench: Bench, reset: str) -> None:
    loop = wire_bench(replace(bench, reset=reset))
    pulse = [m for m in list_measurements(loop) if m.mode.text == "during_reset"]
    load = "module.in+" if bench.is_module else "det1.in+"
    assert {m.red for m in pulse if m.kind == "volts"} == IN_RESET[reset] | {load}
    assert {m.kind for m in pulse} == ({"volts", "listen"} if "reset.com" in IN_RESET[reset] else {"volts"})


@each_small
def test_every_measurement_that_is_offered_reads_back_from_its_own_words(bench: Bench) -> None:
    loop = wire_bench(bench)
    offered = list_measurements(loop)
    assert len({m.key for m in offered}) == len(offered)
    for m in offered:
        words = {"red": m.red, "black": m.black, "at": m.at, "mode": m.mode.text}
        assert parse_measurement(m.kind, loop, words) == m
        assert len(Words(loop).ask(m)) > 10


@each_small
def test_every_word_that_is_offered_is_understood_as_itself(bench: Bench) -> None:
    loop = wire_bench(bench)
    for m in list_measurements(loop):
        for token in list_tokens(m, loop):
            assert token == m.at or parse_value(m, loop, token) == token


def find_unsound(found: Forecast, count: int) -> str:
    """Return what is wrong with a forecast, or an empty text."""
    m = found.measurement
    if found.chance is None:
        numbers = [n for n in (found.mean, found.slopes) if n is not None]
        finite = len(numbers) == 2 and all(np.isfinite(n).all() and n.shape[-1] == count for n in numbers)
        return "" if finite else f"{m.key}: not finite"
    sums = found.chance.sum(axis=1)
    sound = found.chance.shape == (count, len(found.tokens)) and found.chance.min() >= 0
    return "" if sound and np.allclose(sums, 1.0, rtol=0, atol=1e-9) else f"{m.key}: chances do not sum to 1"


@each_small
def test_every_forecast_under_every_fault_is_finite_and_its_chances_sum_to_one(bench: Bench) -> None:
    loop = wire_bench(bench)
    hypotheses = list_hypotheses(loop)
    found = Forecasts(loop, hypotheses).forecast_all(list_measurements(loop))
    assert len(found) > 20
    assert [text for f in found if (text := find_unsound(f, len(hypotheses)))] == []


def find_unseen(loop: Loop) -> list[str]:
    """Return the faults that an eye can find, but at a place where no look is offered."""
    places = {m.at for m in list_measurements(loop) if m.kind == "look"}
    return [f.text for f in list_faults(loop) if f.data.sees.share and find_look_place(f, loop) not in places]


@each_small
def test_what_an_eye_can_find_is_at_a_place_where_a_look_is_offered(bench: Bench) -> None:
    assert find_unseen(wire_bench(bench)) == []


@pytest.mark.parametrize(
    ("kinds", "fault", "place"),
    [
        (("smoke", "co"), "end_resistor_wrong=10k@end_co", "det2"),
        (("smoke", "co", "smoke", "co"), "end_relay_missing@end", "det4"),
        (("smoke", "co"), "end_resistor_missing@end_fire", "det1"),
        (("smoke", "co", "smoke", "co"), "end_resistor_before_end@det1", "det3"),
        (("smoke", "smoke"), "end_resistor_missing@end_co", "module"),
    ],
)
def test_end_of_a_pair_is_looked_at_where_that_pair_ends(kinds: tuple[str, ...], fault: str, place: str) -> None:
    # A pair without a detector on it ends at the module's own terminals.
    loop = wire_bench(replace(N, kinds=kinds))
    assert find_look_place(parse_faults(fault, loop)[0], loop) == place


def test_near_a_bound_a_module_tells_both_zones_of_trouble_at_once() -> None:
    """At its bound it tells either way as often; the whole panel shows no more trouble than each of its two zones."""
    loop = build_loop(read_site(find_shipped("cases") / "sites" / "bench_module_four_wire.yaml"))
    bench = Forecasts(loop, [(), *((f,) for f in parse_faults("end_resistor_wrong=1.5k@end_fire", loop))])
    volts, panel, *zones = bench.forecast_all([
        Measurement("volts", red="module.loop_fire+", black="module.loop_fire-"),
        *(Measurement("panel_shows", at=at) for at in ("panel", "zone1", "zone2")),
    ])  # fmt: skip
    assert volts.mean is not None
    assert volts.mean[1] == pytest.approx(12.0, abs=0.02)  # where in between ends and normal begins
    for shown in (panel, *zones):
        assert shown.chance is not None
        assert shown.chance[1, STATES.index("trouble")] == pytest.approx(0.5, abs=0.02)
        assert shown.chance[0, STATES.index("normal")] > 0.95
