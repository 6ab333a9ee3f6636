"""Belief: it always adds up to one, counts nothing twice, and recovers from slips."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.faults import CONTEXTS
from diagnostics.readings import Bench, list_measurements
from diagnostics.reasoning import (
    SYMPTOMS,
    Belief,
    Question,
    Taken,
    build_prior,
    diagnose,
    find_repair_class,
    keep_latest,
    rate_fit,
    rate_together,
    tell_symptom,
    update,
)
from diagnostics.wiring import EARTH
from tests.reasoning.draw import (
    ask,
    find_measurement,
    find_number,
    find_probability,
    forecast,
    prepare_bench,
    read_middle,
)
from tests.wiring.quick import STYLES

ZONE_V = "volts|panel.zone1+,panel.zone1-|standby"
OHMS = "ohms|panel.zone1+,panel.zone1-|lifted"
BENCHES = {style: prepare_bench(style, 3) for style in STYLES}


def add_up(belief: Belief) -> float:
    return float(belief.probability.sum() + belief.not_modelled)


@st.composite
def draw_any_reading(draw: st.DrawFn, bench: Bench) -> Taken:
    """Draw any reading, absurd ones included."""
    m = draw(st.sampled_from(list_measurements(bench.loop)))
    if m.kind == "ohms":
        return Taken(m, draw(st.one_of(st.floats(0, 1e15), st.just(math.inf))))
    if m.unit:
        return Taken(m, draw(st.one_of(st.floats(-1e15, 1e15), st.floats(-30, 30))))
    return Taken(m, draw(st.sampled_from(forecast(bench, m).tokens)))


@pytest.mark.parametrize("style", STYLES)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_probabilities_add_up_to_one_after_every_reading(style: str, data: st.DataObject) -> None:
    bench = BENCHES[style]
    belief = build_prior(bench, ())
    for taken in data.draw(st.lists(draw_any_reading(bench), max_size=8)):
        belief, tail = update(belief, forecast(bench, taken.measurement), taken.value, bench.meter)
        assert add_up(belief) == pytest.approx(1.0, abs=1e-9)
        assert belief.probability.min() >= 0
        assert 0 <= belief.not_modelled <= 1
        assert tail.min() >= 0
        assert tail.max() <= 1 + 1e-9
        assert np.isfinite(belief.moved).all()
        assert (np.linalg.eigvalsh(belief.open) > -1e-9).all()


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_probabilities_add_up_to_one_after_a_complaint(style: str, symptom: str) -> None:
    bench = BENCHES[style]
    for contexts in ((), *((c,) for c in CONTEXTS)):
        prior = build_prior(bench, contexts)
        assert add_up(prior) == pytest.approx(1.0)
        assert add_up(tell_symptom(prior, bench, symptom)) == pytest.approx(1.0)


@pytest.mark.parametrize("value", [19.1, 15.0, 0.0, 24.0])
def test_reading_repeated_in_one_set_up_adds_nothing(value: float) -> None:
    bench = BENCHES["two_wire_zone"]
    once = Taken(find_measurement(bench, ZONE_V), value)
    alone, thrice = ask(bench, once), ask(bench, once, once, once)
    for one, three in zip(alone.candidates, thrice.candidates, strict=True):
        assert one.faults == three.faults
        assert three.probability == pytest.approx(one.probability, rel=1e-12)


def test_reading_repeated_replaces_the_earlier_one() -> None:
    bench = BENCHES["two_wire_zone"]
    wrong, right = (Taken(find_measurement(bench, ZONE_V), v) for v in (0.1, 19.1))
    assert ask(bench, wrong, right).candidates == ask(bench, right).candidates


def test_volts_with_turned_leads_are_the_same_set_up() -> None:
    bench = BENCHES["two_wire_zone"]
    straight = find_measurement(bench, ZONE_V)
    turned = type(straight)("volts", straight.mode, straight.black, straight.red, place="panel")
    (kept,) = keep_latest([Taken(straight, 19.1), Taken(turned, -19.1)])
    assert kept.measurement == turned
    one, other = ask(bench, Taken(straight, 19.1)), ask(bench, Taken(turned, -19.1))
    for a, b in zip(one.candidates, other.candidates, strict=True):
        assert a.faults == b.faults
        assert a.probability == pytest.approx(b.probability, rel=1e-9)


def test_ohms_of_both_polarities_are_two_set_ups() -> None:
    bench = BENCHES["two_wire_zone"]
    both = [m for m in list_measurements(bench.loop) if m.kind == "ohms" and m.black != EARTH]
    assert len(keep_latest([Taken(m, 4700.0) for m in both])) == 2


def weigh_odds(belief: Belief, one: int, other: int) -> float:
    return math.log(belief.probability[one] / belief.probability[other])


@pytest.mark.parametrize("away", [-1.5, 1.5])
@pytest.mark.parametrize("rival", ["end_resistor_wrong=5.6k@end", "end_resistor_wrong=3.9k@end"])
def test_two_readings_of_one_supply_are_not_counted_twice(away: float, rival: str) -> None:
    """Both readings are off by what one high or low supply explains: the second may move the odds hardly at all."""
    bench = BENCHES["two_wire_zone"]
    healthy, other = find_number(bench, ""), find_number(bench, rival)
    near, far = (find_measurement(bench, key) for key in (ZONE_V, "volts|det3.in+,det3.in-|standby"))
    told = [forecast(bench, m) for m in (near, far)]
    values = [float(t.mean[healthy] + away * t.spread[healthy]) for t in told if t.mean is not None]
    start = build_prior(bench, ())
    first, _ = update(start, told[0], values[0], bench.meter)
    second, tail = update(first, told[1], values[1], bench.meter)
    independent, _ = update(
        Belief(first.probability, first.not_modelled, start.moved, start.open), told[1], values[1], bench.meter
    )
    odds = [weigh_odds(b, other, healthy) for b in (first, second, independent)]
    assert abs(odds[1] - odds[0]) < 0.25 * abs(odds[2] - odds[0])
    assert rate_fit(first, tail) > 0.3


def test_what_one_reading_teaches_of_the_supply_sharpens_the_next() -> None:
    bench = BENCHES["four_wire_zone"]
    com, nc = (find_measurement(bench, f"volts|reset.{t},panel.aux-|standby") for t in ("com", "nc"))
    start, told = build_prior(bench, ()), forecast(bench, nc)
    after, _ = update(start, forecast(bench, com), 24.6, bench.meter)
    healthy = find_number(bench, "")
    assert after.expect(told)[1][healthy] < 0.3 * start.expect(told)[1][healthy]
    assert after.expect(told)[0][healthy] == pytest.approx(24.6 - 23.97, abs=0.05)


@pytest.mark.parametrize(
    ("slip", "number"),
    [
        (("volts", 0.01913), 0),
        (("volts", 19_130.0), 0),
        (("volts", -19.13), 0),
        (("ohms", 4.7), 0),
        (("ohms", 4.7e6), 0),
    ],
)
def test_belief_recovers_from_a_slip_of_prefix_or_leads(slip: tuple[str, float], number: int) -> None:
    bench = BENCHES["two_wire_zone"]
    m = find_measurement(bench, ZONE_V if slip[0] == "volts" else OHMS)
    keys = (
        "panel_shows|panel|standby",
        "volts|det3.in+,det3.in-|standby",
        "which_dark|loop|standby",
        "head_off|det3|head_off:det3",
    )
    others = [find_measurement(bench, k) for k in keys]
    rest = [Taken(o, read_middle(bench, o, find_number(bench, ""))) for o in others]
    slipped, sound = ask(bench, Taken(m, slip[1]), *rest), ask(bench, *rest)
    assert slipped.candidates[0].faults == sound.candidates[0].faults == ()
    assert find_probability(slipped, bench, "") > 0.5 * find_probability(sound, bench, "")
    assert slipped.contradiction is not None
    assert slipped.contradiction.reading == number


@pytest.mark.parametrize("style", STYLES)
def test_still_faulty_updates_and_never_resets(style: str) -> None:
    bench = BENCHES[style]
    taken = (Taken(find_measurement(bench, ZONE_V), 23.9),)
    before = diagnose(bench, Question(taken=taken))
    tried = before.candidates[0].repair_class
    after = diagnose(bench, Question(taken=taken, tried=(tried,)))
    was = {c.faults: c.probability for c in before.candidates}
    now = {c.faults: c.probability for c in after.candidates}
    others = [h for h in was if h and find_repair_class(h) != tried]
    shares = np.array([now[h] / was[h] for h in others])
    assert shares == pytest.approx(np.full(len(others), shares[0]))
    assert shares[0] > 1
    assert now[()] < was[()]
    for h, before_it in was.items():
        if find_repair_class(h) == tried:
            assert 0 < now[h] < before_it
    assert sum(now.values()) + after.not_modelled == pytest.approx(1.0)
    assert after.next_class != tried


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("volts", [35.0, -12.0, 58.0])
def test_reading_that_fits_nothing_raises_what_is_not_modelled(style: str, volts: float) -> None:
    bench = BENCHES[style]
    found = ask(bench, Taken(find_measurement(bench, ZONE_V), volts))
    assert found.not_modelled > 10 * build_prior(bench, ()).not_modelled
    assert found.contradiction is not None
    assert found.next is not None
    assert found.next.again


def test_reading_that_fits_lowers_what_is_not_modelled() -> None:
    bench = BENCHES["two_wire_zone"]
    assert (
        ask(bench, Taken(find_measurement(bench, ZONE_V), 19.5)).not_modelled
        < 0.9 * build_prior(bench, ()).not_modelled
    )


@pytest.mark.parametrize("volts", [0.0, 0.003, -0.004, 0.01, 0.02, 0.4, 1.5])
def test_dead_pair_may_show_stray_volts_or_a_ghost(volts: float) -> None:
    """Ghost volts on a disconnected conductor, read with 10 MΩ: common practice, no source."""
    bench = prepare_bench("two_wire_zone", 5)
    seen = {"panel_shows|panel|standby": "trouble", "lamp|det2|standby": "lit", "lamp|det3|standby": "dark"}
    taken = [Taken(find_measurement(bench, key), word) for key, word in seen.items()]
    found = ask(bench, *taken, Taken(find_measurement(bench, "volts|det3.in+,det3.in-|standby"), volts))
    assert found.contradiction is None
    both = [find_probability(found, bench, f"conductor_open@det3.in{core}") for core in "+-"]
    assert sum(both) > 0.9
    assert both[0] == pytest.approx(both[1], rel=0.2)


@pytest.mark.parametrize("volts", [0.0, 0.01, 0.05])
def test_dead_supply_is_found_dead_whatever_the_last_digit_says(volts: float) -> None:
    bench = BENCHES["four_wire_zone"]
    found = ask(bench, Taken(find_measurement(bench, "volts|reset.nc,panel.aux-|standby"), volts))
    assert found.contradiction is None
    dead = ("aux_dead@panel", "com_not_fed@reset")
    assert min(find_probability(found, bench, text) for text in dead) > 5 * find_probability(found, bench, "")


def test_readings_must_fit_one_and_the_same_hypothesis() -> None:
    """Each of two readings fits a hypothesis of its own, and neither fits both: together they fit nothing."""
    bench = BENCHES["two_wire_zone"]
    count = len(bench.hypotheses)
    prior = build_prior(bench, ())
    share = np.zeros(count)
    share[:2] = 0.49
    belief = Belief(share, 0.02, prior.moved, prior.open)
    one, other = np.zeros(count), np.zeros(count)
    one[0], other[1] = 0.9, 0.8
    assert [rate_fit(belief, tail) for tail in (one, other)] == [0.9, 0.8]
    assert min(rate_together(belief, [one, other])) == 0.0
    assert rate_together(belief, [one, one]) == [0.9, 0.9]
    assert rate_together(belief, []) == []


def test_a_look_that_finds_nothing_does_not_rule_out_what_is_not_modelled() -> None:
    """What nobody has a fault for may look right at every place: forty words for what is seen count as one answer."""
    bench = BENCHES["two_wire_zone"]
    look = find_measurement(bench, "look|det1|standby")
    before = build_prior(bench, ()).not_modelled
    assert 0.45 * before < ask(bench, Taken(look, "as_it_should_be")).not_modelled < before
