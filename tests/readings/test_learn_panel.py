"""A panel that nobody lists, learnt from a few readings: true values inside what is claimed, crooked sources refused.

Published: Thevenin's theorem and the voltage divider (T. R. Kuphaldt, Lessons In Electric Circuits, volume I, chapters
6 and 10; any textbook of circuits). All panels, resistors and meters here are invented, drawn by seed.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.circuit import parse_mode
from diagnostics.errors import PhysicsError, SiteError, SourceError
from diagnostics.locate import find_shipped
from diagnostics.readings import (
    Meter,
    Reading,
    Source,
    Trial,
    Windows,
    build_panel_part,
    find_limit,
    learn_source,
    learn_windows,
    list_mode_measurements,
    predict_mode,
    read_table,
    show_value,
)
from diagnostics.source import read_document
from diagnostics.wiring import PartSpec, Site, build_bands, build_loop, build_part, parse_site, read_site

METER = read_table().meter
OPEN = math.inf
KNOWN = (4700.0, 2200.0)


def divide(emf_v: float, source_ohm: float, load_ohm: float, meter: Meter = METER) -> float:
    """Return the volts that a meter across a load shows, by the voltage divider."""
    across = 1 / (1 / load_ohm + 1 / meter.input_ohm)
    return emf_v * across / (source_ohm + across)


def draw(seed: int, share: float, *, even: bool) -> tuple[float, float, list[Reading]]:
    """Return true volts, true ohms and three readings: resistors off within tolerance, the meter within its limits.

    ``even``: anything between the limits is as likely; otherwise normal, with the limits at two standard deviations.
    """
    rng = np.random.default_rng(seed)
    emf_v, source_ohm = rng.uniform(11, 30), float(np.exp(rng.uniform(np.log(400), np.log(3000))))
    told = []
    for load_ohm in (OPEN, *KNOWN):
        off, wrong = (rng.uniform(-1, 1) if even else rng.normal() / 2 for _ in range(2))
        volts = divide(emf_v, source_ohm, load_ohm * (1 + share * math.sqrt(3) * off))
        volts += wrong * float(find_limit(volts, "V", METER))
        told.append(Reading(show_value(volts, "V", METER), load_ohm, 0.0 if load_ohm == OPEN else share))
    return emf_v, source_ohm, told


@pytest.mark.parametrize("even", [False, True])
@pytest.mark.parametrize("share", [0.005, 0.025])
def test_true_values_lie_inside_the_stated_95_percent(share: float, *, even: bool) -> None:
    inside_v, inside_ohm = 0, 0
    for seed in range(100):
        emf_v, source_ohm, told = draw(seed, share, even=even)
        found = learn_source(told, METER)
        inside_v += found.zone_v.low <= emf_v <= found.zone_v.high
        inside_ohm += found.zone_ohm.low <= source_ohm <= found.zone_ohm.high
        assert found.line == "straight"
    assert inside_v >= 93
    assert inside_ohm >= 93


def test_stated_spread_is_no_wider_than_it_has_to_be() -> None:
    """Of a normal distribution 68.3 % lie within one standard deviation; a claim twice as wide would hold 95 %."""
    within = []
    for seed in range(150):
        emf_v, source_ohm, told = draw(seed, 0.025, even=True)
        found = learn_source(told, METER)
        within += [
            abs(found.zone_v.value - emf_v) < found.zone_v.sd,
            abs(found.zone_ohm.value - source_ohm) < found.zone_ohm.sd,
        ]
    assert 0.60 <= np.mean(within) <= 0.80


@pytest.mark.parametrize(("emf_v", "source_ohm"), list(itertools.product((12.0, 24.0, 27.1), (100.0, 1000.0, 5600.0))))
def test_exact_volts_give_back_the_textbook_source_with_the_meter_taken_out(emf_v: float, source_ohm: float) -> None:
    exact = [Reading(divide(emf_v, source_ohm, r), r) for r in (OPEN, *KNOWN)]
    found = learn_source(exact, METER)
    assert found.zone_v.value == pytest.approx(emf_v, rel=1e-9)
    assert found.zone_ohm.value == pytest.approx(source_ohm, rel=1e-7)
    ideal = learn_source(exact, METER.model_copy(update={"input_ohm": 1e15}))
    thevenin_ohm = KNOWN[1] * (exact[0].volts_v / exact[2].volts_v - 1)
    assert ideal.zone_ohm.value == pytest.approx(thevenin_ohm, rel=2e-3)


@pytest.mark.parametrize("limit_a", [0.002, 0.003, 0.0045])
def test_source_in_current_limit_with_both_resistors_is_named_with_its_current(limit_a: float) -> None:
    volts = [min(divide(24.0, 1000.0, r), limit_a * r) for r in (OPEN, *KNOWN)]
    told = [Reading(v, r, 0.005) for v, r in zip(volts, (OPEN, 4700.0, 2200.0), strict=True)]
    if volts[1] < divide(24.0, 1000.0, 4700.0):
        found = learn_source(told, METER)
        assert found.line == "limited"
        assert found.limit_a == pytest.approx(limit_a, rel=0.02)
        return
    found = learn_source(told, METER)  # the limit begins between the two
    assert (found.line, found.limit_a) == ("limited", None)


def test_source_that_holds_its_volts_up_is_no_straight_one() -> None:
    """Volts by a curve: 24 V less 4 V at 2 mA, and hardly less beyond."""
    told = [Reading(24.0), Reading(19.5, 4700.0, 0.005), Reading(19.0, 2200.0, 0.005)]
    found = learn_source(told, METER)
    assert (found.line, found.limit_a) == ("bent", None)
    with pytest.raises(ValueError, match="not straight"):
        build_panel_part(found)


def test_a_straight_source_is_seldom_called_crooked() -> None:
    crooked = [learn_source(draw(seed, 0.025, even=True)[2], METER).line != "straight" for seed in range(250)]
    assert sum(crooked) <= 3


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ([Reading(24.0), Reading(20.0, 4700.0)], "three readings"),
        ([Reading(24.0), Reading(20.0, 4700.0), Reading(20.1, 4700.0)], "three different loads"),
        ([Reading(20.0), Reading(24.0, 4700.0), Reading(16.0, 2200.0)], "no source behaves so"),
        ([Reading(-24.0), Reading(-20.0, 4700.0), Reading(-16.0, 2200.0)], "no source behaves so"),
        ([Reading(24.0), Reading(23.99, 4700.0, 0.02), Reading(23.98, 2200.0, 0.02)], "hardly move"),
    ],
)
def test_readings_that_cannot_tell_are_refused_with_what_to_do(told: list[Reading], words: str) -> None:
    with pytest.raises(PhysicsError, match=words) as refused:
        learn_source(told, METER)
    assert refused.value.hint


def test_the_loop_model_itself_is_learnt_back() -> None:
    """The engine's own volts at lifted terminals, open and with known resistors, give the panel of the site."""
    loop = build_loop(read_site(find_shipped("cases") / "sites" / "bench_four_wire.yaml"))
    told = []
    for mode, load_ohm in (("lifted_supply_on", OPEN), ("known_resistor:4k7", 4700.0), ("known_resistor:2k2", 2200.0)):
        some = predict_mode(loop, (), parse_mode(mode, loop)).readings
        ends = ("panel.zone1+", "panel.zone1-")
        (volts,) = [
            r.value for r in some if (r.measurement.unit, r.measurement.red, r.measurement.black) == ("V", *ends)
        ]
        told.append(Reading(volts, load_ohm))
    panel = build_part(loop.site.panel.profile, loop.site.panel.values)
    found = learn_source(told, METER)
    assert found.zone_v.low <= panel.number("zone_v") <= found.zone_v.high
    assert found.zone_ohm.low <= panel.number("zone_ohm") <= found.zone_ohm.high
    assert list_mode_measurements(loop, parse_mode("lifted", loop))


def show_state(load_ohm: float, panel: PartSpec, right_ohm: float) -> str:
    """Return what a panel shows for a resistor, by its windows."""
    part = build_part(panel.profile, panel.values)
    volts = part.number("zone_v") / (1 + part.number("zone_ohm") / load_ohm) if load_ohm else 0.0
    return next(b.state for b in build_bands(part, right_ohm) if b.low_v <= volts < b.high_v)


def draw_panel(seed: int) -> PartSpec:
    rng = np.random.default_rng(seed)
    emf_v = rng.uniform(18, 28)
    alarm_v, normal_v, open_v = emf_v * np.array(
        [rng.uniform(0.25, 0.4), rng.uniform(0.45, 0.7), rng.uniform(0.86, 0.92)]
    )
    values = {
        "zone_v": f"{emf_v:.4f} V", "zone_ohm": f"{rng.uniform(700, 1500):.2f} Ω", "alarm_below_v": f"{alarm_v:.4f} V",
        "normal_from_v": f"{normal_v:.4f} V", "open_from_v": f"{open_v:.4f} V",
        "short_state": str(rng.choice(["alarm", "trouble"])), "short_below_v": f"{rng.uniform(0.5, 2.5):.4f} V",
    }  # fmt: skip
    return PartSpec(profile="panel_24v", values=values)


def learn(panel: PartSpec, loads: list[float]) -> tuple[Source, Windows]:
    part = build_part(panel.profile, panel.values)
    emf_v, source_ohm = part.number("zone_v"), part.number("zone_ohm")
    source = learn_source(
        [Reading(show_value(divide(emf_v, source_ohm, r), "V", METER), r, 0.005) for r in (OPEN, *KNOWN)], METER
    )
    return source, learn_windows(source, [Trial(r, show_state(r, panel, 4700.0)) for r in loads], 0.005)


@pytest.mark.parametrize("seed", range(20))
def test_every_edge_lies_in_its_bracket_and_following_the_advice_narrows_it(seed: int) -> None:
    panel = draw_panel(seed)
    part = build_part(panel.profile, panel.values)
    loads = [0.0, 330.0, 4700.0, OPEN]
    for _ in range(12):
        source, windows = learn(panel, sorted(loads))
        for edge in windows.edges:
            if edge.name != "short_below_v" or part.word("short_state") == "trouble":
                assert edge.low_v <= part.number(edge.name) <= edge.high_v
        more = [edge.next_ohm for edge in windows.edges if edge.next_ohm and edge.next_ohm not in loads]
        if not more:
            break
        loads.append(more[0])
    else:
        pytest.fail("the advice never ends")
    assert windows.short_state == part.word("short_state")
    learnt = build_panel_part(source, windows)
    tried = {r: show_state(r, panel, 4700.0) for r in loads}
    assert {r: show_state(r, learnt, 4700.0) for r in loads} == tried


def test_edges_that_no_trial_brackets_are_left_to_the_profile_and_named() -> None:
    source, _ = learn(draw_panel(0), [0.0, 4700.0])
    windows = learn_windows(source, [Trial(4700.0, "normal"), Trial(OPEN, "trouble")])
    assert [e.name for e in windows.edges] == ["open_from_v"]
    assert windows.open == ("alarm_below_v", "normal_from_v")
    assert build_panel_part(source, windows).values.keys() == {"zone_v", "zone_ohm", "open_from_v"}


@pytest.mark.parametrize(
    ("trials", "words"),
    [
        ([Trial(1000.0, "alarm"), Trial(OPEN, "trouble")], "no resistor was shown as normal"),
        ([Trial(1000.0, "normal"), Trial(2200.0, "alarm"), Trial(4700.0, "normal")], "no windows have this order"),
        ([Trial(4700.0, "normal"), Trial(4700.0, "trouble")], "two ways"),
        ([Trial(4700.0, "normal"), Trial(OPEN, "alarm")], "no windows have this order"),
    ],
)
def test_trials_that_contradict_each_other_are_refused_with_what_to_do(trials: list[Trial], words: str) -> None:
    with pytest.raises(PhysicsError, match=words) as refused:
        learn_windows(learn(draw_panel(0), [4700.0, OPEN])[0], trials)
    assert refused.value.hint


def parse(panel: str) -> Site:
    text = f"format: ohmward-site/1\nname: Learnt (invented)\npanel: {panel}\nzones: {{zone1: {{}}}}\nloops:\n"
    text += "  - {zone: zone1, style: two_wire_zone, count: 3, end_resistor: {resistance: 4.7 kΩ}}\n"
    return parse_site(read_document(text, "site.yaml"))


def test_spreads_of_a_site_file_replace_those_of_the_profile() -> None:
    sure = build_loop(parse("{profile: panel_24v, spreads: {zone_v: 0.1 %, zone_ohm: 0 %}}"))
    plain = build_loop(parse("{profile: panel_24v}"))
    shares = [{s.unknown: s.share for s in loop.by_name["source.zone1"].spreads} for loop in (sure, plain)]
    assert shares[0]["zone_supply"] == pytest.approx(0.001)
    assert shares[1]["zone_supply"] == pytest.approx(0.02)
    assert shares[0].get("zone_source", 0.0) == 0.0
    assert shares[1]["zone_source"] == pytest.approx(0.01)


def test_a_panel_with_mains_volts_is_refused_since_it_would_make_them_usual() -> None:
    """What a loop can have decides from where on a reading is foreign: no description may lift that to mains."""
    with pytest.raises(SourceError, match="230 V is more than the 60 V") as refused:
        parse("{profile: panel_24v, values: {zone_v: 230 V}}")
    assert "hands off" in refused.value.findings[0].hint


@pytest.mark.parametrize(
    ("panel", "words"),
    [
        ("{profile: panel_24v, spreads: {zone_w: 1 %}}", "did you mean 'zone_v'"),
        ("{profile: panel_24v, spreads: {alarm_below_v: 1 %}}", "no value 'alarm_below_v' that is uncertain"),
        ("{profile: panel_24v, spreads: {zone_v: 80 %}}", "from 0 % to 50 %"),
        ("{profile: panel_24v, spreads: {zone_v: -1 %}}", "from 0 % to 50 %"),
    ],
)
def test_a_spread_that_cannot_be_is_a_finding_at_its_place(panel: str, words: str) -> None:
    with pytest.raises(SourceError, match=words) as refused:
        parse(panel)
    (finding,) = refused.value.findings
    assert (finding.code, finding.line) == ("S020", 3)
    assert finding.column > 30


def test_spread_of_another_day_is_never_below_what_was_learnt() -> None:
    source, _ = learn(draw_panel(1), [4700.0, OPEN])
    sharp = replace(source, zone_v=replace(source.zone_v, sd=0.0), zone_ohm=replace(source.zone_ohm, sd=0.0))
    learnt, least = build_panel_part(source).spreads, build_panel_part(sharp).spreads
    assert learnt["zone_v"] / 100 >= source.zone_v.sd / source.zone_v.value
    assert learnt["zone_ohm"] / 100 >= source.zone_ohm.sd / source.zone_ohm.value
    assert 0 < least["zone_v"] < learnt["zone_v"]
    with pytest.raises(SiteError):
        build_part("panel_24v", {}, "panel", {"aux_ohm": 1.0})
