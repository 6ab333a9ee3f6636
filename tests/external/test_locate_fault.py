"""Where a short or an earth lies: bridge formulas against published examples, and against circuits with any fault ohms.

Sources: public exam papers and exam questions on Murray and Varley loop tests with worked or printed answers (F1 to F4,
F7); *Hawkins Electrical Guide* vol. 3, fig. 597 (public domain, F5); F12 and F13 are derived from copper's resistance
(18 AWG at 20 °C, ASTM B258 and IEC 60028) and a meter's stated error.
"""

import json
import shutil
from pathlib import Path

import pytest

from diagnostics.circuit import MeterInput, build_steps, parse_mode, read_meter, solve_batch, to_ohms
from diagnostics.cli.main import run
from diagnostics.faults import build_all_edits, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import (
    Run,
    find_by_loop,
    find_by_murray,
    find_by_three,
    find_by_varley,
    find_short,
    find_spot,
    list_runs,
    read_table,
)
from diagnostics.wiring import EARTH, SetResistance, build_loop, read_site

OHM_PER_M = 3.1422 / 150  # 18 AWG
SITE = find_shipped("cases") / "sites" / "bench_two_wire.yaml"
CASE = """
format: ohmward-case/1
site: {site}
symptom: alarm_with_nothing_there
readings:
  - {{measurement: volts, red: "panel.zone1+", black: "panel.zone1-", mode: standby, value: 60 mV}}
  - {{measurement: ohms, red: "panel.zone1+", black: "panel.zone1-", mode: lifted, value: 2.8 Ω}}
  - {{measurement: look, at: det3, mode: standby, value: wires_touch}}
"""


@pytest.mark.parametrize(
    ("faulty", "sound", "loop", "at"),
    [
        (1.0, 3.0, 2 * 600.0, 300.0),  # F1: 600 m, P:Q = 3:1
        (20.0, 40.0, 2 * 300.0, 200.0),  # F2
        (1.0, 2.0, 2 * 300.0, 200.0),  # F3
        (332.0, 668.0, 54.07, 1.0906 * 16.46),  # F5: 16.46 ohm a mile, printed 1.09 mile
    ],
)
def test_murray_loop_is_that_of_the_published_examples(faulty: float, sound: float, loop: float, at: float) -> None:
    assert find_by_murray(faulty, sound, loop) == pytest.approx(at, rel=1e-4)


def test_murray_on_a_cable_of_two_gauges_ends_at_the_joint() -> None:
    """F4: 100 m of 120 mm² and 100 m of 240 mm², arms 1 : 2; the answer is 100 m."""
    runs = (Run("near", 100.0, 1.0), Run("far", 100.0, 0.5))
    spot = find_spot(runs, find_by_murray(1.0, 2.0, 2 * 1.5), 0.01)
    assert spot is not None
    assert spot.distance_m == pytest.approx(100.0)
    assert (spot.first, spot.last) == ("near", "far")


def test_varley_loop_is_that_of_the_published_example() -> None:
    """F7: P = 15, Q = 40, balanced at 20 Ω for the loop and at 10 Ω to earth, 0.5 Ω a km: 5.455 km."""
    assert find_by_varley((15.0, 40.0), 10.0, 20.0) / 0.5 == pytest.approx(5.455, abs=1e-3)


def test_three_ohms_readings_give_the_metres_whatever_the_fault_has() -> None:
    """F12: 150 m of 18 AWG, a fault of 200 Ω at 60 m."""
    at_ohm = find_by_three(201.2569, 205.0275, 3.1422)
    assert at_ohm / OHM_PER_M == pytest.approx(60.0, abs=0.05)


def test_short_read_with_a_hand_meter_is_only_as_sharp_as_its_last_digits() -> None:
    """F13: 3.20 Ω with leads of 0.20 Ω is 71.6 m, and ± (0.8 % + 3 × 0.1 Ω) alone is ± 7.8 m."""
    at_ohm, limit_ohm = find_by_loop(3.20, 0.20), (0.008 * 3.20 + 0.3) / 2
    spot = find_spot((Run("whole", 150.0, 3.1422),), at_ohm, limit_ohm)
    assert spot is not None
    assert spot.distance_m == pytest.approx(71.6, abs=0.05)
    assert spot.spread_m == pytest.approx(7.8, abs=0.05)


@pytest.mark.parametrize("earth_ohm", ["1", "200", "5k"])
@pytest.mark.parametrize(("place", "at_m"), [("det2.in+", 37.5), ("det4.in+", 87.5)])
def test_three_readings_of_the_circuit_itself_end_where_the_earth_was_put(
    earth_ohm: str, place: str, at_m: float
) -> None:
    """The engine's ohms of a loop of five, far end joined by 1 µΩ, 25 m a run, earthed half-way along one."""
    loop = build_loop(read_site(SITE))
    edits = build_all_edits(loop, parse_faults(f"earth_fault={earth_ohm}@{place}", loop))
    joined = (*edits, SetResistance(loop.end_resistors["end"], 1e-6))
    mode = parse_mode("lifted", loop)
    settled = solve_batch(loop, [joined], build_steps(mode, loop))
    source = MeterInput(read_table().meter.ohms_source_ohm, read_table().meter.ohms_test_v)
    pairs = [("field.zone1+", EARTH), ("field.zone1-", EARTH), ("field.zone1+", "field.zone1-")]
    faulty, sound, both = to_ohms(read_meter(settled, pairs, source), source).volts[:, 0]
    runs = list_runs(loop, "det1.in")
    spot = find_spot(runs, find_by_three(float(faulty), float(sound), float(both) / 2), 0.0)
    assert spot is not None
    assert spot.distance_m == pytest.approx(at_m, abs=1.0)  # the heads' contacts lie in one core alone
    assert spot.run == place.rstrip("+-")


def test_short_of_a_loop_is_found_on_its_run_within_meter_leads_and_cable() -> None:
    """Half-way on the run into detector 3, 62.5 m of 125 m; lengths are estimates (15 %), so ± 15 m to 30 m."""
    loop = build_loop(read_site(SITE))
    spot = find_short(loop, "det1.in", 2 * 62.5 * OHM_PER_M + 0.2, read_table().meter)
    assert spot is not None
    assert spot.distance_m == pytest.approx(62.5, abs=1.0)
    assert (spot.run, spot.first, spot.last) == ("det3.in", "det2.in", "det4.in")
    assert 15.0 < spot.spread_m < 30.0
    assert find_short(loop, "det1.in", 4700.0, read_table().meter) is None, "an end resistor is no short"


def test_verdict_on_a_short_says_where_along_the_cable_it_lies(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = tmp_path / "case.yaml"
    shutil.copy(SITE, tmp_path)
    case.write_text(CASE.format(site=SITE.name), encoding="utf-8")
    assert run(["diagnose", str(case), "--json"]) == 0
    verdict = json.loads(capsys.readouterr().out)["verdict"]
    assert verdict["place"] == "run det3"
    assert verdict["location"]["distance_m"] == pytest.approx(62.0, abs=2.0)
    assert run(["diagnose", str(case)]) == 0
    assert verdict["location"]["words"] in capsys.readouterr().out
    assert "between detector 1 and detector 4" in verdict["location"]["words"]


def test_command_places_what_a_bridge_or_a_meter_read(capsys: pytest.CaptureFixture[str]) -> None:
    for words, metres in (
        (["--short", "2.8"], 62.0), (["--murray", "1", "3"], 62.5), (["--varley", "15", "15", "10", "12.5"], 59.7),
        (["--three", "102.0", "103.0", "2.8"], 100.3),
    ):  # fmt: skip
        assert run(["locate", str(SITE), *words, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["distance_m"] == pytest.approx(metres, abs=1.5)
    assert run(["locate", str(SITE), "--short", "47"]) == 1
    assert "--first is one of det1.in" in capsys.readouterr().err
