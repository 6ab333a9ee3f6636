"""Cable opened at a detector, looked back: where a short or a leak lies (half-splitting; common practice, no source).

A break in the pair takes all that lies beyond off the panel (Kirchhoff): what arrives is then whole or not by what lies
before it alone.
"""

import numpy as np
import pytest

from diagnostics.faults import parse_faults
from diagnostics.readings import Bench, Measurement, list_measurements, parse_measurement, predict_mode
from diagnostics.referee import Person, Plant, build_world, list_sites
from diagnostics.units import parse_quantity
from diagnostics.wiring import Loop
from tests.external.referee_line import open_line
from tests.wiring.quick import wire_quick

PAIRS = {
    "two_wire_zone": ("in", "in+", "in-", "opened"),
    "four_wire_zone": ("in_contact", "in_a", "in_b", "opened"),
    "module_two_wire": ("in", "in+", "in-", "opened"),
    "dry_contacts": ("in_contact", "in_a", "in_b", "opened"),
    "class_a_zone": ("in", "in+", "in-", "cut_off"),
}
COUNT = 6


def list_opened(loop: Loop, style: str) -> list[Measurement]:
    _, red, _, word = PAIRS[style]
    return [m for m in list_measurements(loop) if m.mode.word == word and m.kind == "volts" and m.red.endswith(red)]


@pytest.mark.parametrize("fault", ["pair_short", "leak=3k"])
@pytest.mark.parametrize("style", PAIRS)
def test_what_arrives_is_whole_exactly_where_the_fault_lies_beyond(style: str, fault: str) -> None:
    loop, run = wire_quick(style, COUNT), PAIRS[style][0]
    faults = [(), *(parse_faults(f"{fault}@det{n}.{run}", loop) for n in range(1, COUNT + 1))]
    some = list_opened(loop, style)
    assert [m.place for m in some][: COUNT - 1] == [f"det{k}" for k in range(1, COUNT)]
    for k, forecast in enumerate(Bench(loop, faults).forecast_all(some), 1):
        assert forecast.mean is not None
        whole = [abs(v - forecast.mean[0]) < 0.05 for v in forecast.mean[1:]]
        assert whole == [n > k for n in range(1, COUNT + 1)]
        assert not any(abs(v - forecast.mean[0]) < 1.0 for v in forecast.mean[1 : k + 1])


@pytest.mark.parametrize("style", PAIRS)
def test_many_forecast_together_are_what_each_loop_shows_by_itself(style: str) -> None:
    loop, (run, red, black, word) = wire_quick(style, 4), PAIRS[style]
    faults = [
        (),
        *(parse_faults(f"leak=1k@det{n}.{run}", loop) for n in (2, 4)),
        parse_faults("detector_dead@det2", loop),
    ]
    for m, forecast in zip(
        list_opened(loop, style), Bench(loop, faults).forecast_all(list_opened(loop, style)), strict=True
    ):
        assert forecast.mean is not None
        for number, one in enumerate(faults):
            readings = predict_mode(loop, one, m.mode).readings
            (alone,) = (r for r in readings if (r.measurement.red, r.measurement.black) == (m.red, m.black))
            assert forecast.mean[number] == pytest.approx(alone.value, abs=6e-3), (m.key, one)
            assert np.hypot(forecast.spread[number], 1e-6) <= alone.sd + 1e-3
    assert (red, black, word) == PAIRS[style][1:]


def test_it_brings_cautions_minutes_and_the_return_wires_of_class_a() -> None:
    zone, back = wire_quick("two_wire_zone", 4), wire_quick("class_a_zone", 4)
    where = {"red": "det2.in+", "black": "det2.in-"}
    plain = parse_measurement("volts", zone, where)
    opened = parse_measurement("volts", zone, {**where, "mode": "opened:det2"})
    cut = parse_measurement("volts", back, {**where, "mode": "cut_off:det2"})
    assert plain.mode.text == "standby"  # nothing is opened unless it is said
    assert {"outputs", "tell_people", "evidence_first", "out_of_service", "put_back", "ladder"} <= set(opened.cautions)
    assert {"live_cabinet", *opened.cautions} <= set(cut.cautions)
    assert plain.find_minutes("panel") < opened.find_minutes("panel") < cut.find_minutes("panel")


def test_a_short_in_a_contact_pair_is_found_where_no_lamp_tells() -> None:
    """Found in rehearsals: shorts and leaks of contact pairs stayed open, as no reading told one run from another."""
    line, site = open_line(), list_sites("four_wire_zone")[0]
    rows = [r for r in line.list_rows("measurements", site) if r["mode"].startswith("opened:")]
    some = [r for r in rows if r.get("red", "").endswith("in_a")]
    plant = Plant(site, "pair_short@det3.in_contact", "aged", (1,))
    person = Person(build_world(line, site, plant.fault, plant.seed), plant)
    shown = {r["place"]: parse_quantity(person.read(r), "V") for r in some}
    assert {place for place, v in shown.items() if abs(v) < 1.0} == {p for p in shown if int(p[3:]) >= 3}
    assert {place for place, v in shown.items() if v > 10.0} == {"det1", "det2"}


@pytest.mark.parametrize("kind", ["earth_opened", "volts"])
def test_class_a_opened_with_its_return_on_is_taken_where_told_and_never_asked_for(kind: str) -> None:
    """Earlier records hold such readings: the return wires were first said to come off too when they were kept."""
    loop = wire_quick("class_a_zone", 3)
    (wanted, *_) = (m for m in list_measurements(loop) if m.kind == kind and m.mode.text == "cut_off:det1")
    leads = {"red": wanted.red, "black": wanted.black} if wanted.red else {"at": wanted.at}
    told = parse_measurement(kind, loop, {**leads, "mode": "opened:det1"})
    assert told.mode.text == "opened:det1"
    assert told not in list_measurements(loop)
    assert parse_measurement(kind, loop, {**leads, "mode": "cut_off:det1"}) == wanted
    (forecast,) = Bench(loop, [()]).forecast_all([told])
    if forecast.mean is not None:  # the far end still feeds what is cut off behind the detector before it
        assert forecast.mean[0] > 1.0
