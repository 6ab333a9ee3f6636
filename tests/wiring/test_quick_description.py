"""The quick description: seven answers stand for a site file, and what nobody knows stays wide."""

from dataclasses import replace

import pytest

from diagnostics.circuit import parse_mode
from diagnostics.errors import QuantityError, SourceError
from diagnostics.faults import parse_faults
from diagnostics.readings import PredictedReading, predict_mode
from diagnostics.source import read_document
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site, parse_site
from diagnostics.wiring.describe import find_unusual_answers, find_wrong_answers
from tests.wiring.quick import STYLES

HEAD = "format: ohmward-site/1\nname: Quick description\nzones: {zone1: {senses: fire, end_resistor: 5.6 kΩ}}\nloops:\n"
TWO_WIRE = """\
  - zone: zone1
    style: two_wire_zone
    count: 7
    cable: {gauge: 1.5 mm², run: 14 m}
    end_resistor: {resistance: 5k6}
"""
FOUR_WIRE = """\
  - zone: zone1
    style: four_wire_zone
    detectors: [{}, {}, {}, {}, {}, {}, {}]
    cable: {gauge: 1.5 mm2, run: 14 m}
    end_resistor: {resistance: 5600}
    reset: always_on
    end_relay: {profile: supervision_relay}
"""
ANSWERS = {
    "two_wire_zone": QuickDescription("two_wire_zone", "7", "5k6", "1.5 mm²", "14 m"),
    "four_wire_zone": QuickDescription(
        "four_wire_zone", " 7 ", "green blue red gold", "1,5 mm2", "1400 cm", "always_on", "yes"
    ),
}
SURE = QuickDescription("four_wire_zone", "5", "4.7 kΩ", "18 AWG", "10 m", "relay", "yes")


def wire(answers: QuickDescription) -> Loop:
    return build_loop(build_quick_site(answers)[0])


def read(loop: Loop, mode: str, unit: str, fault: str = "") -> PredictedReading:
    """Return volts or ohms of the zone pair."""
    found = predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop)).readings
    return next(r for r in found if r.measurement.unit == unit and r.measurement.red == "panel.zone1+")


@pytest.mark.parametrize(("style", "written"), [("two_wire_zone", TWO_WIRE), ("four_wire_zone", FOUR_WIRE)])
def test_seven_answers_give_the_loop_of_the_site_file_written_out(style: str, written: str) -> None:
    quick, spelled = wire(ANSWERS[style]), build_loop(parse_site(read_document(HEAD + written, "site.yaml")))
    assert quick.elements == spelled.elements
    assert (quick.detectors, quick.relays, quick.zones) == (spelled.detectors, spelled.relays, spelled.zones)
    assert (quick.pairs, quick.meter_points) == (spelled.pairs, spelled.meter_points)


@pytest.mark.parametrize("style", STYLES)
def test_a_panel_of_12_v_gets_parts_of_12_v_and_any_other_those_of_24_v(style: str) -> None:
    site, plain = (build_quick_site(replace(SURE, style=style, system=text))[0] for text in ("12 V", ""))
    loop, own = site.loops[0], plain.loops[0]
    parts = loop.model_fields_set & {"each", "reset_relay", "end_relay", "module"}
    named = [getattr(loop, name).profile for name in parts]
    assert named
    assert all(profile.endswith("_12v") for profile in (site.panel.profile, *named))
    assert build_quick_site(replace(SURE, style=style, system="24 V"))[0] == plain
    assert (plain.panel.profile, own.reset_relay.profile, own.each.profile) == ("panel_24v", "relay_24v", None)


@pytest.mark.parametrize(
    ("name", "usual", "odd"),
    [
        ("end_resistor", ("2k2", "10k", "", "not sure", "rubbish"), ("4.7", "4.7 MΩ", "0.001")),
        ("panel_resistor", ("4700",), ("47 Ω",)),
        ("run", ("12 m", "40 ft", "1200 cm"), ("12 km", "5 mm")),
        ("cable", ("18 AWG", "1.5 mm²", "0.22 mm²"), ("0.01 mm²", "50 mm²")),
    ],
)
def test_what_is_hardly_ever_wired_is_noticed(name: str, usual: tuple[str, ...], odd: tuple[str, ...]) -> None:
    assert [find_unusual_answers(replace(SURE, **{name: text})) for text in usual] == [frozenset()] * len(usual)
    assert [find_unusual_answers(replace(SURE, **{name: text})) for text in odd] == [frozenset({name})] * len(odd)


@pytest.mark.parametrize(
    ("text", "told"),
    [("4.7", "is 4.70 kΩ meant"), ("4.7 mΩ", "is 4.70 kΩ meant"), ("10 MΩ", "10.0 MΩ is no end resistor")],
)
def test_what_no_end_resistor_has_is_refused_with_what_was_meant(text: str, told: str) -> None:
    assert told in find_wrong_answers(replace(SURE, end_resistor=text))["end_resistor"]
    with pytest.raises(SourceError, match="is no end resistor, those have 100 Ω to 1 MΩ"):
        build_quick_site(replace(SURE, end_resistor=text))


def test_a_system_that_no_panel_has_is_refused() -> None:
    with pytest.raises(QuantityError, match="'48 V' is no system") as refused:
        build_quick_site(replace(SURE, system="48 V"))
    assert refused.value.hint == "write 24 V or 12 V"


@pytest.mark.parametrize("style", STYLES)
def test_known_answers_assume_nothing(style: str) -> None:
    assert build_quick_site(replace(SURE, style=style))[1] == ()


@pytest.mark.parametrize(
    ("answer", "mode", "unit", "fault"),
    [
        ("end_resistor", "standby", "V", ""),
        ("end_resistor", "lifted_supply_on", "ohm", ""),
        ("run", "lifted_supply_on", "ohm", "pair_short@det5.in_contact"),
        ("cable", "lifted_supply_on", "ohm", "pair_short@det5.in_contact"),
    ],
)
@pytest.mark.parametrize("unsure", ["not sure", "", " ? ", "Unknown"])
def test_not_sure_widens_what_is_predicted_and_says_so(
    answer: str, mode: str, unit: str, fault: str, unsure: str
) -> None:
    vague = replace(SURE, **{answer: unsure})
    known, wide = read(wire(SURE), mode, unit, fault), read(wire(vague), mode, unit, fault)
    assert wide.sd > 2 * known.sd
    assert wide.value == pytest.approx(known.value, rel=1e-3)
    assert len(build_quick_site(vague)[1]) == 1


@pytest.mark.parametrize(("answer", "word"), [("reset", "reset"), ("end_relay", "supervision relay")])
def test_supply_path_that_is_not_known_is_noted_and_to_be_looked_for(answer: str, word: str) -> None:
    (note,) = build_quick_site(replace(SURE, **{answer: "not sure"}))[1]
    assert word in note
    assert "look" in note


def test_end_relay_that_is_not_there_is_left_out() -> None:
    assert [r.name for r in wire(replace(SURE, end_relay="no")).relays] == ["reset"]
    assert [r.name for r in wire(SURE).relays] == ["reset", "endrelay"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"end_resistor": "4.7 V"}, "ohms"),
        ({"end_resistor": "lots"}, "lots"),
        ({"run": "10 kg"}, "metres"),
        ({"cable": "18"}, "18"),
        ({"end_relay": "perhaps"}, "supervision relay"),
    ],
)
def test_answer_that_is_none_is_refused_by_name(change: dict[str, str], words: str) -> None:
    with pytest.raises(QuantityError) as refused:
        build_quick_site(replace(SURE, **change))
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"style": "three_wire"}, "style"),
        ({"detectors": "five"}, "count"),
        ({"detectors": "0"}, "count"),
        ({"detectors": "129"}, "count"),
        ({"reset": "zone"}, "zone"),
        ({"reset": "relais"}, "reset"),
    ],
)
def test_answers_that_make_no_site_are_findings(change: dict[str, str], place: str) -> None:
    with pytest.raises(SourceError) as refused:
        build_quick_site(replace(SURE, **change))
    assert all(f.file == "description" for f in refused.value.findings)
    assert any(place in f.message for f in refused.value.findings)
