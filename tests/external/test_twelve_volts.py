"""Panels of 12 V, and zones of 12 V on a panel of 24 V: predictions against the referee and against a voltage divider.

Outside world: Ohm's law for a zone at rest; the referee's solver, panel and battery, for class A and two loops on
circuits that it writes from words. That a charger of 12 V gives some 13.5 V and that a discharge ends at 1.7 V a cell,
10.2 V, is *common practice, no source*. The parts are *invented*.
"""

from pathlib import Path

import pytest

from diagnostics.circuit import STANDBY, Mode, parse_mode
from diagnostics.faults import list_faults, parse_fault
from diagnostics.readings import predict_mode
from diagnostics.wiring import Loop, PartSpec, QuickDescription, Style, build_loop, build_quick_site, read_site
from tests.external.referee_line import ROOT, find_differences

SITES = ROOT / "cases" / "sites"
OWN = ROOT / "diagnostics" / "referee" / "sites"
AS_12V = (  # what a site file of 24 V says, and what that of 12 V says instead
    ("panel_24v", "panel_12v"),
    ("smoke_two_wire", "smoke_two_wire_12v"),
    ("smoke_four_wire", "smoke_four_wire_12v"),
    ("supervision_relay", "supervision_relay_12v"),
    ("relay_24v", "relay_12v"),
    ("  values: {normal_from_v: 14 V, open_from_v: 21.5 V}\n", ""),
)
ZONE_OF_12V = (
    ("  values: {normal_from_v: 14 V, open_from_v: 21.5 V}", "  values: {zone_v: 12 V, alarm_below_v: 7 V}"),
)
ON_BATTERY = Mode("on_battery")
AT = ("standby", "alarm:det2", "on_battery")


def change(stem: str, words: tuple[tuple[str, str], ...], folder: Path) -> Path:
    """Return a site of the referee's with other words in it."""
    text = (OWN / f"{stem}.yaml").read_text("utf-8")
    for old, new in words:
        text = text.replace(old, new)
    (path := folder / f"{stem}.yaml").write_text(text, "utf-8")
    return path


def read_zone_v(loop: Loop, mode: Mode, fault: str = "") -> float:
    """Return the volts at the terminals of zone 1."""
    found = predict_mode(loop, [parse_fault(fault, loop)] if fault else [], mode).readings
    return next(float(r.ideal) for r in found if r.measurement.red == "panel.zone1+")


@pytest.mark.parametrize("fault", ["healthy", "conductor_open@det3.in+", "battery_dead@panel", "charger_low@panel"])
@pytest.mark.parametrize("stem", ["smithy", "apiary"])
def test_a_shipped_site_of_12_v_is_as_the_referee_has_it(stem: str, fault: str) -> None:
    assert find_differences(SITES / f"{stem}.yaml", fault, "det2", AT) == []


@pytest.mark.parametrize(
    ("stem", "fault"),
    [
        ("ferry_pier", "battery_dead@panel"),
        ("ferry_pier", "earth_fault=300@det2.in+"),
        ("weaving_shed", "healthy"),
        ("weaving_shed", "battery_disconnected@panel"),
        ("twin_barns", "healthy"),
        ("twin_barns", "supply_on_no@zone2"),
    ],
)
def test_a_site_of_12_v_is_as_the_referee_writes_it(tmp_path: Path, stem: str, fault: str) -> None:
    assert find_differences(change(stem, AS_12V, tmp_path), fault, "det2", AT) == []


@pytest.mark.parametrize(
    "fault", ["healthy", "battery_dead@panel", "zone_feed_resistive=3000@zone1", "mains_off@panel"]
)
def test_a_zone_of_12_v_on_a_panel_of_24_v_is_as_the_referee_writes_it(tmp_path: Path, fault: str) -> None:
    assert find_differences(change("ferry_pier", ZONE_OF_12V, tmp_path), fault, "det2", AT) == []


def test_volts_that_a_panel_makes_stay_on_battery_until_it_stops() -> None:
    """12 V · 4.7 kΩ / (4.7 kΩ + 1 kΩ) = 9.89 V: on mains, and on a battery as long as that carries the panel."""
    site = read_site(SITES / "bench_dry_contacts.yaml")
    own = PartSpec(profile="panel_24v", values={"zone_v": "12 V", "zone_ohm": "1 kΩ"})
    loop = build_loop(site.model_copy(update={"panel": own}))
    divided_v = pytest.approx(12 * 4.7 / 5.7, rel=1e-3)
    assert read_zone_v(loop, STANDBY) == divided_v
    assert read_zone_v(loop, ON_BATTERY) == divided_v
    assert read_zone_v(loop, ON_BATTERY, "battery_disconnected@panel") == pytest.approx(0, abs=0.01)


def test_volts_near_those_of_the_battery_go_down_with_it() -> None:
    """24 V are not made out of a battery of 25 V: those 25 V stand there, less what the battery itself takes."""
    loop = build_loop(read_site(SITES / "bench_dry_contacts.yaml"))
    assert read_zone_v(loop, STANDBY) == pytest.approx(24 * 4.7 / 5.7, rel=1e-3)
    assert read_zone_v(loop, ON_BATTERY) == pytest.approx(25 * 4.7 / 5.7, rel=0.01)


@pytest.mark.parametrize("style", Style)
def test_a_description_of_12_v_makes_a_loop_that_is_at_rest_when_sound(style: Style) -> None:
    loop = build_loop(build_quick_site(QuickDescription(style, "5", "4k7", "18 AWG", "10 m", system="12 V"))[0])
    for mode in (STANDBY, ON_BATTERY):
        told = predict_mode(loop, [], mode)
        assert set(told.panel.values()) == {"normal"}
        assert "dark" not in told.states.values()
    alarm = predict_mode(loop, [], parse_mode("alarm:det5", loop))
    assert "alarm" in alarm.panel.values()
    assert len(list_faults(loop)) > 100
