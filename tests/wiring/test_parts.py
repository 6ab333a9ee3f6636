"""Part profiles: every one builds, and a value that cannot be names the part."""

import itertools

import pytest

from diagnostics.errors import SiteError
from diagnostics.source import read_document
from diagnostics.wiring import Site, build_bands, build_loop, build_part, parse_site, read_parts

PROFILES = sorted(read_parts().profiles)
NUMBERS = [
    (profile, name)
    for profile, p in sorted(read_parts().profiles.items())
    for name, row in read_parts().families[p.family].attributes.items()
    if row.unit
]
SITE = """\
format: ohmward-site/1
name: One of each
panel: {{profile: {panel}}}
zones: {{zone1: {{}}}}
loops:
  - zone: zone1
    style: {style}
    detectors: [{{profile: {detector}}}, {{}}]
    end_resistor: {{resistance: 4.7 kΩ}}
"""
_STYLE = {"detector_two_wire": "two_wire_zone", "detector_four_wire": "four_wire_zone"}


def build_site(panel: str = "panel_24v", detector: str = "smoke_two_wire") -> Site:
    style = _STYLE[read_parts().profiles[detector].family]
    text = SITE.format(panel=panel, detector=detector, style=style)
    if style == "four_wire_zone":
        text += "    end_relay: {profile: supervision_relay}\n"
    return parse_site(read_document(text, "site.yaml"))


@pytest.mark.parametrize("profile", PROFILES)
def test_profile_builds_with_every_value_and_a_word_about_it(profile: str) -> None:
    part = build_part(profile)
    rows = read_parts().families[part.family].attributes
    assert part.values.keys() == rows.keys()
    assert all(row.about for row in rows.values())
    assert read_parts().profiles[profile].about
    assert all(0 < share < 1 for share in part.shares.values())


@pytest.mark.parametrize("profile", [p for p in PROFILES if "detector" in read_parts().profiles[p].family])
def test_detector_profile_wires_a_loop_in_which_it_is_powered(profile: str) -> None:
    loop = build_loop(build_site(detector=profile))
    assert loop.detectors[0].senses == build_part(profile).word("senses")
    assert f"load.{loop.detectors[0].name}" in loop.by_name


@pytest.mark.parametrize(("profile", "name"), NUMBERS)
def test_value_in_the_wrong_unit_names_part_and_value(profile: str, name: str) -> None:
    unit = read_parts().families[read_parts().profiles[profile].family].attributes[name].unit
    wrong = "5 W" if unit != "W" else "5 V"
    with pytest.raises(SiteError) as refused:
        build_part(profile, {name: wrong})
    assert f"{profile}, {name}" in str(refused.value)


@pytest.mark.parametrize(
    ("profile", "values", "words"),
    [
        ("panel_24v", {"zone_v": "-24 V"}, "panel_24v, zone_v"),
        ("panel_24v", {"zone_w": "24 V"}, "did you mean 'zone_v'?"),
        ("panel_24v", {"short_state": "alert"}, "panel_24v, short_state"),
        ("smoke_two_wire", {"reversed": "block"}, "did you mean 'blocks'?"),
        ("smoke_two_wire", {"standby_a": "none"}, "smoke_two_wire, standby_a"),
        ("panel_42v", {}, "did you mean 'panel_24v'?"),
        ("zzz", {}, "there are "),
    ],
)
def test_part_that_cannot_be_is_refused_with_what_was_meant(profile: str, values: dict[str, str], words: str) -> None:
    with pytest.raises(SiteError) as refused:
        build_part(profile, values)
    assert words in str(refused.value)


def test_part_of_another_family_is_not_taken() -> None:
    with pytest.raises(SiteError, match="smoke_four_wire"):
        build_part("smoke_four_wire", {}, "detector_two_wire")


@pytest.mark.parametrize(
    "values",
    [
        {},
        {"normal_from_v": "14 V", "open_from_v": "21.5 V"},
        {"short_below_v": "0 V"},
        {"alarm_below_v": "1 V"},
        {"normal_from_v": "1 V"},
        {"short_state": "trouble", "between_state": "normal"},
        {"normal_from_ratio": "1 %", "open_from_ratio": "900 %"},
    ],
)
@pytest.mark.parametrize("right_ohm", [470.0, 4700.0, 47_000.0])
def test_bands_follow_each_other_from_minus_to_plus_infinity(values: dict[str, str], right_ohm: float) -> None:
    bands = build_bands(build_part("panel_24v", values), right_ohm)
    assert bands[0].low_v == float("-inf")
    assert bands[-1].high_v == float("inf")
    assert all(one.high_v == two.low_v for one, two in itertools.pairwise(bands))
    assert all(band.low_v < band.high_v for band in bands)
    assert [b.state for b in bands if b.name in {"normal", "open"}] == ["normal", "trouble"]


def test_every_voltage_lies_in_the_band_that_holds_it() -> None:
    (zone,) = build_loop(build_site()).zones
    for band in zone.bands:
        assert zone.find_band(max(band.low_v, -50.0)) is band
        assert zone.find_band(min(band.high_v, 100.0) - 1e-9) is band


def test_right_resistor_is_normal_and_its_open_circuit_is_trouble() -> None:
    part = build_part("panel_24v")
    bands = build_bands(part, 4700.0)
    at = {b.name: b for b in bands}
    divided_v = 24.0 * 4700 / 5700
    assert at["normal"].low_v < divided_v < at["normal"].high_v
    assert at["open"].low_v < 24.0


def test_open_below_normal_is_refused() -> None:
    with pytest.raises(SiteError, match="open_from_v"):
        build_bands(build_part("panel_24v", {"normal_from_v": "20 V", "open_from_v": "15 V"}), 4700.0)
