"""Groups, settled or not, contradictions: what is said is held to its definition."""

import itertools
import math

import numpy as np
import pytest

from diagnostics.faults import parse_faults
from diagnostics.readings import (
    Bench,
    Measurement,
    find_own_sd,
    is_offered,
    list_measurements,
    parse_measurement,
)
from diagnostics.reasoning import (
    NOTHING,
    SETTLED,
    SYMPTOMS,
    Diagnosis,
    Question,
    Taken,
    diagnose,
    find_repair_class,
    rate_differences,
)
from diagnostics.reasoning.belief import STANDS
from diagnostics.wiring import EARTH
from tests.reasoning.draw import (
    ask,
    draw_readings,
    find_measurement,
    find_number,
    forecast,
    prepare_bench,
    read_middle,
)
from tests.sampling import sample
from tests.wiring.quick import STYLES

BENCHES = {style: prepare_bench(style, 3) for style in STYLES}
HAND = frozenset({"meter"})


def rate_pair(bench: Bench, some: list[Measurement], one: int, other: int) -> float:
    """Return the largest d′ of two hypotheses over some measurements."""
    pair = np.array([one, other])
    return max(float(rate_differences(f.take(pair), bench.meter)[0, 1]) for f in bench.forecast_all(some))


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", [None, "constant_trouble", "detectors_dark", "no_trouble_with_head_off"])
@pytest.mark.parametrize("can", [None, HAND, frozenset[str]()])
def test_group_holds_what_nothing_at_hand_tells_apart(
    style: str, symptom: str | None, can: frozenset[str] | None
) -> None:
    bench = BENCHES[style]
    found = diagnose(bench, Question(symptom=symptom, can=can))
    offered = [m for m in list_measurements(bench.loop) if is_offered(m, can)]
    number = {h: n for n, h in enumerate(bench.hypotheses)}
    assert found.groups
    for group in found.groups:
        pairs = list(itertools.combinations([number[h] for h in group.members], 2))[:15]
        worst = max((rate_pair(bench, offered, a, b) for a, b in pairs), default=0.0)
        assert (
            worst == pytest.approx(group.d_prime, abs=1e-5)
            if len(group.members) <= 5
            else worst <= group.d_prime + 1e-5
        )
        assert group.d_prime < 2


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("can", sample([HAND, frozenset[str]()], 2))
def test_group_names_the_cheapest_measurement_that_would_split_it(style: str, can: frozenset[str]) -> None:
    bench = BENCHES[style]
    found = diagnose(bench, Question(symptom="constant_trouble", can=can))
    beyond = [m for m in list_measurements(bench.loop) if not is_offered(m, can)]
    number = {h: n for n, h in enumerate(bench.hypotheses)}
    named = 0
    for group in found.groups:
        pairs = list(itertools.combinations([number[h] for h in group.members], 2))
        able = [m for m in beyond if any(rate_pair(bench, [m], a, b) >= 2 for a, b in pairs)]
        cheapest = min((m.find_minutes("panel") for m in able), default=None)
        assert (group.split_by is None) == (cheapest is None)
        if group.split_by is not None:
            named += 1
            assert group.split_by in able
            assert group.split_by.find_minutes("panel") == cheapest
    assert named


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", [None, *SYMPTOMS])
def test_groups_are_disjoint_and_no_heavier_than_their_members(style: str, symptom: str | None) -> None:
    found = diagnose(BENCHES[style], Question(symptom=symptom))
    members = [h for g in found.groups for h in g.members]
    assert len(members) == len(set(members))
    told = {c.faults: c.probability for c in found.candidates}
    for group in found.groups:
        assert group.probability == pytest.approx(sum(told[h] for h in group.members))
    assert sum(told.values()) + found.not_modelled == pytest.approx(1.0)


def draw_growing(bench: Bench, number: int, some: list[Measurement], seed: int) -> list[list[Taken]]:
    """Return the readings of one draw of the unknowns, one reading more each time."""
    taken = draw_readings(bench, number, some, seed)
    return [taken[:count] for count in range(1, len(taken) + 1)]


def weigh_classes(found: Diagnosis) -> dict[tuple[str, str], float]:
    weight: dict[tuple[str, str], float] = {}
    for c in found.candidates:
        weight[c.repair_class] = weight.get(c.repair_class, 0.0) + c.probability
    return weight


def is_parting(found: Diagnosis) -> bool:
    """Return whether panel and field are parted first."""
    m = found.next.measurement if found.next else None
    return m is not None and (
        m.kind == "known_resistor" or m.mode.word in {"lifted", "lifted_supply_on", "pair_lifted"}
    )


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("seed", sample(range(12), 4))
def test_settled_is_said_exactly_when_one_repair_holds_its_share_and_nothing_contradicts(style: str, seed: int) -> None:
    bench = BENCHES[style]
    rng = np.random.default_rng(seed)
    number = int(rng.integers(len(bench.hypotheses)))
    some = [m for m in list_measurements(bench.loop) if m.kind != "settings"]
    for taken in draw_growing(bench, number, [some[n] for n in rng.permutation(len(some))[:9]], seed):
        found = ask(bench, *taken)
        weight = weigh_classes(found)
        leader = max(weight, key=lambda c: weight[c])
        sure = weight[leader] >= SETTLED and found.contradiction is None
        assert found.settled == (leader if sure and not is_parting(found) else None)
        if found.settled not in {None, NOTHING}:
            assert found.next is not None
            assert (found.next.action, found.next_class) == ("repair", leader)


def test_sound_loop_ends_with_nothing_to_do() -> None:
    whole = BENCHES["two_wire_zone"]
    faults = ("end_resistor_missing@end", "pair_short@det2.in", "conductor_open@det1.in+")
    bench = Bench(whole.loop, [(), *(parse_faults(text, whole.loop) for text in faults)])
    m = find_measurement(bench, "volts|panel.zone1+,panel.zone1-|standby")
    found = ask(bench, Taken(m, read_middle(bench, m, 0)))
    assert found.settled == NOTHING
    assert found.next is None
    assert found.candidates[0].faults == ()
    assert weigh_classes(found)[NOTHING] >= SETTLED


# What a wrong lead position, a neighbour's pair or a misread display would have given, far from anything the loop has.
WRONG: dict[str, tuple[float | str, float | str]] = {
    "volts": (11.7, 3.3),
    "panel_shows": ("trouble", "normal"),
    "lamp": ("dark", "lit"),
}


def spoil(taken: Taken) -> Taken:
    first, second = WRONG[taken.measurement.kind]
    near = taken.value == first or (isinstance(taken.value, float) and abs(taken.value - 11.7) < 2.0)
    return Taken(taken.measurement, second if near else first)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("fault", ["", "end_resistor_missing@end"])
@pytest.mark.parametrize("seed", sample(range(6), 3))
def test_contradiction_names_the_planted_wrong_reading(style: str, fault: str, seed: int) -> None:
    bench = BENCHES[style]
    some = [m for m in list_measurements(bench.loop) if m.unit == "V" and m.mode.word == "standby"]
    some = [m for m in some if m.red.startswith(("panel.zone", "det")) and m.black != EARTH]
    words = [
        find_measurement(bench, k)
        for k in ("panel_shows|panel|standby", "which_dark|loop|standby", "head_off|det3|head_off:det3")
    ]
    taken = draw_readings(bench, find_number(bench, fault), [*some, *words], seed)
    assert ask(bench, *taken).contradiction is None
    at = seed % len(some)
    taken[at] = spoil(taken[at])
    found = ask(bench, *taken)
    assert found.contradiction is not None
    assert found.contradiction.reading == at
    assert found.settled is None
    assert found.next is not None
    assert found.next.again
    assert found.next.measurement == taken[at].measurement


def test_doubted_reading_is_asked_for_once() -> None:
    bench = BENCHES["two_wire_zone"]
    m = find_measurement(bench, "volts|panel.zone1+,panel.zone1-|standby")
    first = ask(bench, Taken(m, 35.0))
    assert first.next is not None
    assert first.next.again
    second = ask(bench, Taken(m, 35.0), Taken(m, 35.0))
    assert second.next is not None
    assert not second.next.again


def test_doubted_reading_that_comes_out_otherwise_is_asked_for_once_more() -> None:
    bench = BENCHES["two_wire_zone"]
    m = find_measurement(bench, "volts|panel.zone1+,panel.zone1-|standby")
    third = ask(bench, Taken(m, 35.0), Taken(m, 42.0))
    assert third.next is not None
    assert third.next.again
    fourth = ask(bench, Taken(m, 35.0), Taken(m, 42.0), Taken(m, 38.0))
    assert fourth.next is not None
    assert not fourth.next.again


def test_what_stands_and_fits_nothing_ends_the_search_after_three_more_readings() -> None:
    """What is taken again and is the same is no slip: nobody reads on for an hour, and nothing is called sure."""
    bench = BENCHES["two_wire_zone"]
    m = find_measurement(bench, "volts|panel.zone1+,panel.zone1-|standby")
    more = ["panel_shows|panel|standby", "which_dark|loop|standby", "supply_lamps|panel|standby"]
    words = ["normal", "none", "right"]
    rest = [Taken(find_measurement(bench, key), word) for key, word in zip(more, words, strict=True)]
    for count in range(len(rest)):
        found = ask(bench, Taken(m, 35.0), Taken(m, 35.0), *rest[:count])
        assert found.contradiction is not None
        assert found.contradiction.stands
        assert found.not_modelled >= STANDS
        assert found.settled is None
        assert found.next is not None
        assert found.next.action == "measure"
    last = ask(bench, Taken(m, 35.0), Taken(m, 35.0), *rest)
    assert last.next is not None
    assert last.next.action != "measure"
    assert last.not_modelled >= STANDS


@pytest.mark.parametrize("volts", [-20.0, 33.0])
def test_doubted_reading_that_is_told_and_never_asked_for_is_not_asked_for_again(volts: float) -> None:
    bench = BENCHES["two_wire_zone"]
    told = parse_measurement("volts", bench.loop, {"red": "panel.zone1+", "black": EARTH})
    assert told.key not in {m.key for m in list_measurements(bench.loop)}
    found = ask(bench, Taken(told, volts))
    assert found.contradiction is not None
    assert found.next is not None
    assert not found.next.again


@pytest.mark.parametrize("leak_ohm", [1300, 2000, 2400, 7000])
def test_a_leak_has_the_ohms_that_the_readings_make_of_it(leak_ohm: float) -> None:
    """A leak across the pair beside a 4.7 kΩ end resistor is two resistors in parallel: Ohm's law, by hand."""
    bench = BENCHES["two_wire_zone"]
    read_ohm = 1 / (1 / leak_ohm + 1 / 4700)
    m = find_measurement(bench, "ohms|panel.zone1+,panel.zone1-|lifted")
    found = ask(bench, Taken(m, read_ohm))
    leak = next(c for c in found.candidates if c.faults and c.faults[0].kind == "leak")
    assert leak.value_ohm == pytest.approx(leak_ohm, rel=0.12)
    assert ask(bench).candidates[1].value_ohm is None, "nothing was read"


def test_rare_volts_are_believed_once_they_were_read_again() -> None:
    """A supply three and a half sd high is rarer than a misread; read twice it is no misread, and nothing is wrong."""
    loop = BENCHES["four_wire_zone"].loop
    bench = Bench(loop, [(), parse_faults("detector_dead@det2", loop)])
    m = find_measurement(bench, "volts|panel.aux+,panel.aux-|standby")
    told = forecast(bench, m)
    assert told.mean is not None
    assert told.slopes is not None
    sd = math.hypot(float(np.linalg.norm(told.slopes[:, 0])), float(find_own_sd(told.mean[:1], "V", bench.meter)[0]))
    rare, absurd = (float(told.mean[0]) + times * sd for times in (3.6, 6.0))
    assert ask(bench, Taken(m, rare)).contradiction is not None
    assert ask(bench, Taken(m, rare), Taken(m, rare)).contradiction is None
    assert ask(bench, Taken(m, absurd), Taken(m, absurd)).contradiction is not None


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", [None, *SYMPTOMS])
def test_expected_ranges_hold_the_reading_of_their_group(style: str, symptom: str | None) -> None:
    bench = BENCHES[style]
    found = diagnose(bench, Question(symptom=symptom, can=frozenset({"meter", "ladder"})))
    if found.next is None or found.next.measurement is None:
        pytest.fail("a complaint alone must lead to a measurement")
    number = {h: n for n, h in enumerate(bench.hypotheses)}
    assert len({e.group for e in found.expected}) == len(found.expected) > 0
    for e in found.expected:
        leader = number[found.groups[e.group].members[0]]
        value = read_middle(bench, found.next.measurement, leader)
        if e.state is None:
            assert e.low is not None
            assert e.high is not None
            assert isinstance(value, float)
            assert e.low - 1e-9 <= value <= e.high + 1e-9 or math.isinf(value)
            assert e.unit == found.next.measurement.unit


def test_over_range_is_expected_as_over_range() -> None:
    bench = BENCHES["four_wire_zone"]
    ohms = next(m for m in list_measurements(bench.loop) if m.kind == "ohms")
    others = frozenset(m.key for m in list_measurements(bench.loop) if m != ohms)
    found = diagnose(bench, Question(symptom="constant_trouble", skipped=others))
    assert found.next is not None
    assert found.next.measurement == ohms
    missing = next(e for e in found.expected if found.groups[e.group].members[0][0].kind == "end_resistor_missing")
    assert missing.high == math.inf
    assert all(e.low is not None and e.low >= 0 for e in found.expected)


@pytest.mark.parametrize("style", STYLES)
def test_every_hypothesis_has_its_repair(style: str) -> None:
    for h in BENCHES[style].hypotheses:
        assert find_repair_class(h) == (NOTHING if not h else h[0].repair_class)
