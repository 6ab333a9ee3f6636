"""What is wrong with a site file is told at its line and column, all of it at once."""

import pytest

from diagnostics.errors import SourceError
from diagnostics.source import read_document
from diagnostics.wiring import Site, build_loop, build_part, parse_site

SOUND = """\
format: ohmward-site/1
name: Test hall (invented)
panel: {profile: panel_24v, values: {zone_v: 24 V}}
zones:
  zone1: {senses: fire, end_resistor: 4.7 kΩ}
loops:
  - zone: zone1
    style: two_wire_zone
    count: 3
    each: {profile: smoke_two_wire}
    cable: {gauge: 18 AWG, run: 12 m}
    end_resistor: {resistance: 4.7 kΩ}
"""
FOUR = (
    SOUND.replace("two_wire_zone", "four_wire_zone").replace("smoke_two_wire", "smoke_four_wire")
    + "    reset: relay\n    end_relay: {profile: supervision_relay}\n"
)


def parse(text: str) -> Site:
    return parse_site(read_document(text, "hall.yaml"))


def complain(text: str) -> list[str]:
    with pytest.raises(SourceError) as refused:
        parse(text)
    return [str(f) for f in refused.value.findings]


@pytest.mark.parametrize("text", [SOUND, FOUR])
def test_sound_site_is_wired(text: str) -> None:
    assert len(build_loop(parse(text)).detectors) == 3


@pytest.mark.parametrize(
    ("text", "old", "new", "place", "words"),
    [
        (SOUND, "count: 3", "cuont: 3", "9:5", "did you mean 'count'?"),
        (SOUND, "run: 12 m", "run: 12 V", "11:33", "run: '12 V' reads as volts"),
        (SOUND, "run: 12 m", "run: 0 m", "11:33", "above zero"),
        (SOUND, "gauge: 18 AWG", "gauge: 18 kg", "11:20", "gauge"),
        (SOUND, "zone: zone1", "zone: zone2", "7:3", "zone 'zone2', but the zones are zone1"),
        (SOUND, "count: 3", "count: 3\n    detectors: [{}, {}]", "7:5", "either 'count' or a list"),
        (SOUND, "    count: 3\n", "", "7:5", "either 'count' or a list"),
        (SOUND, "count: 3", "count: 3\n    end_relay: {profile: supervision_relay}", "7:5", "no power pair"),
        (SOUND, "count: 3", "count: 3\n    reset: relay", "7:5", "reset by the zone itself"),
        (FOUR, "reset: relay", "reset: zone", "7:5", "not fed by the zone"),
        (SOUND, "count: 3", "count: 129", "9:12", "at most 128"),
        (SOUND, "count: 3", "count: three", "9:12", "a whole number"),
        (SOUND, "senses: fire", "senses: gas", "5:19", "known are fire, co"),
        (SOUND, "two_wire_zone", "two_wire", "8:12", "did you mean 'two_wire_zone'?"),
        (SOUND, "end_resistor: {resistance: 4.7 kΩ", "end_resistor: {resistance: 4.7 kA", "12:32", "read as ohms"),
        (SOUND, "ohmward-site/1", "ohmward-site/2", "1:9", "ohmward-site/1"),
        (SOUND, "zone_v: 24 V", "zone_v: 24 A", "3:46", "panel_24v, zone_v: '24 A' reads as amperes"),
        (SOUND, "zone_v: 24 V", "zone_u: 24 V", "3:46", "did you mean 'zone_v'?"),
        (SOUND, "profile: panel_24v", "profile: panel_24", "3:18", "did you mean 'panel_24v'?"),
        (SOUND, "profile: smoke_two_wire", "profile: smoke_four_wire", "10:21", "no profile 'smoke_four_wire' here"),
        (FOUR, "supervision_relay", "relay_24v", "14:26", "no profile 'relay_24v' here"),
        (SOUND, "run: 12 m}", "run: 12 m, values: {temprature_c: 30}}", "11:62", "did you mean 'temperature_c'?"),
        (SOUND, "count: 3", "detectors: [{}, {values: {standby_a: 1 V}}]", "9:42", "smoke_two_wire, standby_a"),
        (SOUND, "  zone1: {", "  zone 1: {", "5:3", "use letters, digits and _"),
    ],
)  # fmt: skip
def test_finding_stands_at_its_place(text: str, old: str, new: str, place: str, words: str) -> None:
    assert old in text
    (found,) = complain(text.replace(old, new, 1))
    assert found.startswith(f"hall.yaml:{place}: error S")
    assert words in found


def test_all_that_is_wrong_is_told_at_once() -> None:
    text = SOUND.replace("zone_v: 24 V", "zone_v: 24 A, aux_v: x").replace("profile: smoke_two_wire", "profile: smoky")
    assert [line.split(": ")[0] for line in complain(text)] == ["hall.yaml:3:46", "hall.yaml:3:59", "hall.yaml:10:21"]


def test_loop_without_an_end_resistor_says_what_to_write() -> None:
    text = SOUND.replace("    end_resistor: {resistance: 4.7 kΩ}\n", "")
    (found,) = complain(text)
    assert "hall.yaml:7:5: error S007" in found
    assert "end_resistor: {resistance: 4.7 kΩ}" in found


SPOILT = """\
format: ohmward-site/1
name: Test hall (invented)
panel: {profile: panel_24w, values: {zone_v: 24 V}}
zones:
  zone1: {senses: fire, end_resistor: 4.7 kΩ}
loops:
  - zone: zone2
    style: two_wire_zone
    count: 3
    back_run: 5 m
    each: {profile: smoke_twowire}
    cable: {gauge: 18 AGW, run: 12 m, colour: red}
"""


def test_everything_that_can_still_be_understood_is_told_at_once() -> None:
    wanted = [
        ("3:18", "S020", "did you mean 'panel_24v'"), ("7:3", "S007", "the zones are zone1"),
        ("7:5", "S007", "leave 'back_run' out"), ("7:5", "S007", "which end resistor"),
        ("11:21", "S020", "did you mean 'smoke_two_wire'"), ("12:20", "S007", "not a wire size"),
        ("12:39", "S002", "'colour'"),
    ]  # fmt: skip
    found = complain(SPOILT)
    assert [f.split(": error ")[0] for f in found] == [f"hall.yaml:{place}" for place, *_ in wanted]
    assert all(code in f and words in f for f, (_, code, words) in zip(found, wanted, strict=True)), found


@pytest.mark.parametrize(
    ("text", "old", "new"),
    [
        # Each has one fault; what is left without the value would break a rule, or name a zone that is not there.
        (SOUND, "count: 3", "cuont: 3"), (SOUND, "zone1: {senses: fire", "zone1: {senses: gas"),
        (SOUND, "resistance: 4.7 kΩ", "resistance: 4.7 kW"), (SOUND, "{resistance: 4.7 kΩ}", "[4.7 kΩ]"),
        (FOUR, "style: four_wire_zone", "style: four_wire"), (FOUR, "zone: zone1", "zone: [zone1]"),
        (SOUND, "{senses: fire, end_resistor: 4.7 kΩ}", "fire"), (SOUND, "count: 3", "detectors: [hall]"),
    ],
)  # fmt: skip
def test_nothing_is_told_that_follows_from_another_fault_alone(text: str, old: str, new: str) -> None:
    found = complain(text.replace(old, new, 1))
    assert len(found) <= 1 + ("cuont" in new), found


def test_what_holds_for_each_detector_holds_for_those_listed() -> None:
    listed = "each: {run: 20 m, values: {standby_a: 0.2 mA}}"
    text = SOUND.replace("    count: 3\n", "    detectors: [{room: hall}, {run: 5 m}, {values: {standby_a: 0.3 mA}}]\n")
    loop = build_loop(parse(text.replace("each: {profile: smoke_two_wire}", listed)))
    levels = [loop.by_name[f"load.det{n}"].curve.points[-1][1] for n in (1, 2, 3)]  # type: ignore[union-attr]
    assert levels == pytest.approx([0.2e-3, 0.2e-3, 0.3e-3])
    ohms = [loop.by_name[f"wire.det{n}.in+"].resistance_ohm or 0.0 for n in (1, 2, 3)]
    assert ohms[0] / ohms[1] == pytest.approx(4.0)
    assert loop.detectors[0].label == "hall"


def test_detector_of_another_profile_keeps_its_own_values() -> None:
    text = SOUND.replace("    count: 3\n", "    detectors: [{profile: smoke_two_wire_one_way}, {}]\n")
    text = text.replace("profile: smoke_two_wire}", "profile: smoke_two_wire, values: {minimum_v: 9 V}}")
    first, second = build_loop(parse(text)).detectors
    assert first.powered_v == build_part("smoke_two_wire_one_way").number("minimum_v")
    assert second.powered_v == 9.0
