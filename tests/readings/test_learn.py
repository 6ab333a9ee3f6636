"""An unlisted panel learnt from readings: simulated panels with drawn values, read with a 6000-count meter.

Source of the arithmetic: Thévenin's theorem, T. R. Kuphaldt, *Lessons In Electric Circuits*, vol. 1, chapter on network
theorems. Panels are invented and drawn by seed; the meter is that of the shipped table.
"""

import math

import numpy as np
import pytest

from diagnostics.cli.main import run
from diagnostics.errors import QuantityError, SiteError
from diagnostics.readings import Loaded, find_sd, learn_source, read_table, show_value, write_panel
from diagnostics.source import read_document
from diagnostics.wiring import build_loop, build_part, parse_site

METER = read_table().meter
RESISTORS = (math.inf, 10_000.0, 4700.0, 2200.0)


def divide(emf_v: float, source_ohm: float, load_ohm: float) -> float:
    load = 1.0 / (1.0 / load_ohm + 1.0 / METER.input_ohm)
    return emf_v * load / (source_ohm + load)


def draw(seed: int, loads: tuple[float, ...] = RESISTORS) -> tuple[float, float, list[Loaded]]:
    """Return the volts and ohms of a drawn panel, and its readings with resistors of 1 %."""
    rng = np.random.default_rng(seed)
    emf_v, source_ohm = float(rng.uniform(11, 30)), float(rng.uniform(200, 3000))
    found = []
    for ohm in loads:
        true = ohm * (1 + rng.normal() * 0.005)
        volts = divide(emf_v, source_ohm, true)
        shown = show_value(volts + rng.normal() * float(find_sd(volts, "V", METER)), "V", METER)
        found.append(Loaded(ohm, shown))
    return emf_v, source_ohm, found


def test_true_values_lie_within_two_sd_as_often_as_is_said() -> None:
    """95 % are promised; of 200 drawn panels at least 93 % must be inside, for each of the two values."""
    inside = []
    for seed in range(200):
        emf_v, source_ohm, readings = draw(seed)
        learnt = learn_source(readings, METER)
        off = (learnt.zone_v - emf_v) / learnt.zone_v_sd, (learnt.zone_ohm - source_ohm) / learnt.zone_ohm_sd
        inside.append([abs(x) < 2 for x in off])
    assert (np.mean(inside, axis=0) >= 0.93).all(), np.mean(inside, axis=0)


def test_hardly_a_plain_source_is_called_something_else() -> None:
    assert sum(not learn_source(draw(seed)[2], METER).is_plain for seed in range(200)) <= 1


@pytest.mark.parametrize("seed", range(10))
def test_two_readings_give_the_source_and_say_that_nothing_was_checked(seed: int) -> None:
    emf_v, source_ohm, readings = draw(seed, (math.inf, 2200.0))
    learnt = learn_source(readings, METER)
    assert learnt.fit is None
    assert learnt.zone_v == pytest.approx(emf_v, rel=0.02)
    assert learnt.zone_ohm == pytest.approx(source_ohm, rel=0.1)


def test_source_that_limits_its_current_is_recognised_by_the_third_reading() -> None:
    """24 V behind 500 Ω that never gives more than 6 mA: a small resistor then pulls it down too far."""
    readings = [Loaded(math.inf, 24.0), Loaded(4700.0, divide(24, 500, 4700.0)), Loaded(1000.0, 6.0)]
    assert not learn_source(readings, METER).is_plain


def test_windows_are_bracketed_by_what_the_panel_showed() -> None:
    told = {10_000.0: "trouble", 4700.0: "normal", 2200.0: "normal", 680.0: "alarm"}
    readings = [Loaded(ohm, divide(24.0, 1000.0, ohm), state) for ohm, state in told.items()]
    learnt = learn_source([Loaded(math.inf, divide(24.0, 1000.0, math.inf)), *readings], METER)
    edges = {(e.below, e.above): (e.low_v, e.high_v) for e in learnt.edges}
    assert edges["alarm", "normal"] == (readings[3].volts, readings[2].volts)
    assert edges["normal", "trouble"] == (readings[1].volts, readings[0].volts)
    assert {"zone_v", "zone_ohm", "normal_from_v", "open_from_v"} <= write_panel(learnt).keys()


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [Loaded(math.inf, 24.0)],
        [Loaded(4700.0, 20.0), Loaded(4700.0, 20.1)],
        [Loaded(math.inf, 20.0), Loaded(4700.0, 24.0)],
        [Loaded(math.inf, 24.0), Loaded(4700.0, 0.0)],
    ],
)
def test_readings_that_tell_no_source_are_refused_with_a_reason(readings: list[Loaded]) -> None:
    with pytest.raises(QuantityError) as refused:
        learn_source(readings, METER)
    assert refused.value.hint


def test_what_was_learnt_goes_into_a_site_file_with_its_spread() -> None:
    learnt = learn_source(draw(3)[2], METER)
    values = "\n".join(f"    {name}: {text}" for name, text in write_panel(learnt).items())
    text = (
        "format: ohmward-site/1\nname: Learnt (invented)\npanel:\n  profile: panel_24v\n  values:\n"
        f"{values}\nzones:\n  zone1: {{senses: fire, end_resistor: 4.7 kΩ}}\nloops:\n"
        "  - {zone: zone1, style: two_wire_zone, count: 2, end_resistor: {resistance: 4.7 kΩ}}\n"
    )
    site = parse_site(read_document(text, "learnt.yaml"))
    part = build_part(site.panel.profile, site.panel.values, "panel")
    assert part.number("zone_v") == pytest.approx(learnt.zone_v, rel=1e-3)
    assert part.shares["zone_v"] == pytest.approx(learnt.zone_v_sd / learnt.zone_v, rel=0.1)
    assert build_loop(site).zones


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("zone_v", "24 V ± 3 A", "3 A"),
        ("zone_v", "24 V ± 30 V", "smaller than the value"),
        ("short_below_v", "2 V ± 0.1 V", "has no spread"),
        ("zone_v", "24 ± V", "V"),
    ],
)
def test_spread_that_makes_no_sense_is_refused(name: str, text: str, told: str) -> None:
    with pytest.raises((SiteError, QuantityError), match=told):
        build_part("panel_24v", {name: text}, "panel")


def test_command_prints_a_part_and_refuses_what_is_no_reading(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["learn-panel", "open=24.0V", "4k7=19.79V=normal", "1k=12.0V=alarm"]) == 0
    told = capsys.readouterr().out
    assert "zone_v: 24" in told
    assert "Lift only a zone that is out of service" in told
    assert run(["learn-panel", "open=24.0V", "4k7=19.79V=green"]) == 1
    assert "is no reading" in capsys.readouterr().err
    assert run(["learn-panel", "open=24.0V", "4k7=20V", "1k=3V", "--json"]) == 1
