"""A zone with its wires lifted and the supply left on: what the panel itself gives, and what the field does by itself.

With nothing on it a source shows its open-circuit volts, less what the meter's own input draws (Thévenin's theorem).
"""

import pytest

from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, Measurement, list_measurements
from diagnostics.referee import Person, Plant, build_world, list_sites
from diagnostics.reports import Words
from diagnostics.units import parse_quantity
from diagnostics.wiring import Loop, build_loop, read_site
from tests.external.referee_line import open_line
from tests.wiring.quick import wire_quick

RUNS = {
    "two_wire_zone": "det2.in",
    "four_wire_zone": "det2.in_contact",
    "module_two_wire": "module.fire",
    "module_four_wire": "module.fire",
    "dry_contacts": "det2.in_contact",
}


def list_lifted(loop: Loop, side: str) -> list[Measurement]:
    some = (m for m in list_measurements(loop) if m.kind == "volts" and m.mode.word == "pair_lifted")
    return [m for m in some if m.red.startswith(side)]


def list_bare(loop: Loop) -> list[Measurement]:
    return list_lifted(loop, "panel.")


@pytest.mark.parametrize("style", [*sorted(RUNS), "class_a_zone"])
def test_every_wired_zone_can_be_read_with_its_field_lifted(style: str) -> None:
    loop = wire_quick(style, 3)
    wired = {zone for chain in loop.chains for zone in (chain.spec.zone, chain.spec.co_zone)}
    assert {m.mode.detector for m in list_bare(loop)} == {z.name for z in loop.zones if z.name in wired}


def test_a_zone_that_comes_back_keeps_its_own_resistor_and_nothing_of_the_field() -> None:
    """Voltage divider: E·R / (R + Rs), once the panel has seen the open and feeds its return terminals."""
    loop = wire_quick("class_a_zone", 3)
    source, resistor = loop.by_name["source.zone1"], loop.by_name[loop.end_resistors["end"]]
    assert source.curve is not None
    faults = [(), parse_faults("leak=1k@det1.in", loop), parse_faults("zone_input_leaks=1k@zone1", loop)]
    (kept,) = list_bare(loop)
    (told,) = Bench(loop, faults).forecast_all([kept])
    assert told.mean is not None
    inner_ohm, end_ohm = 1 / source.curve.after_s, resistor.resistance_ohm or 0.0
    assert told.mean[0] == pytest.approx(source.emf_v * end_ohm / (end_ohm + inner_ohm), rel=1e-3)
    assert told.mean[1] == pytest.approx(told.mean[0], rel=1e-6)
    assert told.mean[2] == pytest.approx(source.emf_v * 1000 / (1000 + inner_ohm), rel=1e-2)  # no open is seen: no link
    asked = Words(loop).ask(kept)
    assert "both pairs" in asked
    assert "end resistor stays" in asked
    assert "bare" not in asked


@pytest.mark.parametrize("style", sorted(RUNS))
def test_bare_zone_shows_its_source_and_nothing_of_the_field(style: str) -> None:
    loop = wire_quick(style, 3)
    zone = loop.zones[0]
    source = loop.by_name[f"source.{zone.name}"]
    faults = [(), parse_faults(f"leak=1k@{RUNS[style]}", loop), parse_faults("zone_input_damaged@zone1", loop)]
    (bare,) = (m for m in list_bare(loop) if m.mode.detector == zone.name)
    filled = next(m for m in list_measurements(loop) if m.key == bare.key.replace(bare.mode.text, "standby"))
    forecasts = Bench(loop, faults).forecast_all([bare, filled])
    (healthy, leaking, _), (whole, drawn, _) = (f.mean for f in forecasts if f.mean is not None)
    assert healthy == pytest.approx(source.emf_v, rel=1e-3)
    assert leaking == pytest.approx(healthy, rel=1e-6)
    assert drawn < whole - 1.0


def test_worn_input_divides_its_own_source_and_a_worn_feed_shows_only_under_load() -> None:
    """Voltage divider: E·R / (R + Rs) with nothing on it (Thévenin's theorem)."""
    loop = wire_quick("two_wire_zone", 3)
    source = loop.by_name["source.zone1"]
    assert source.curve is not None
    faults = [(), parse_faults("zone_input_leaks=1k@zone1", loop), parse_faults("zone_feed_resistive=3k@zone1", loop)]
    (bare,) = list_bare(loop)
    filled = next(m for m in list_measurements(loop) if (m.red, m.mode.text) == (bare.red, "standby"))
    shown, loaded = (f.mean for f in Bench(loop, faults).forecast_all([bare, filled]) if f.mean is not None)
    assert shown[1] == pytest.approx(source.emf_v * 1000 / (1000 + 1 / source.curve.after_s), rel=1e-3)
    assert shown[2] == pytest.approx(shown[0], rel=1e-3)
    assert loaded[2] < loaded[0] - 1.0


@pytest.mark.parametrize("name", ["bench_module_two_wire", "bench_two_loops"])
def test_each_of_several_zones_is_lifted_for_its_own_reading(name: str) -> None:
    loop = build_loop(read_site(find_shipped("cases") / "sites" / f"{name}.yaml"))
    some = list_bare(loop)
    assert len(some) > 1
    (told,) = {float(f.mean[0]) for f in Bench(loop, [()]).forecast_all(some) if f.mean is not None}
    assert told == pytest.approx(loop.by_name["source.zone1"].emf_v, rel=1e-3)


def test_a_lifted_pair_is_dead_whatever_leaks_on_it() -> None:
    loop = wire_quick("four_wire_zone", 3)
    (across,) = list_lifted(loop, "field.")
    faults = [(), parse_faults("leak=1k@det2.in_contact", loop)]
    (told,) = Bench(loop, faults).forecast_all([across])
    assert told.mean is not None
    assert told.mean == pytest.approx(0.0, abs=0.01)
    assert "foreign_volts" in across.cautions


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone"])
def test_referee_reads_volts_from_elsewhere_on_a_lifted_pair(style: str) -> None:
    line, site = open_line(), list_sites(style)[0]
    (row, *_) = (r for r in line.list_rows("measurements", site) if str(r.get("red", "")).startswith("field."))
    plants = [Plant(site, fault, "aged", (1,)) for fault in ("healthy", "outside.foreign_source")]
    healthy, foreign = (
        parse_quantity(Person(build_world(line, site, p.fault, p.seed), p).read(row), "V") for p in plants
    )
    assert abs(healthy) < 0.1
    assert abs(foreign) > 1.0


def test_referee_reads_its_own_class_a_zone_with_its_field_lifted() -> None:
    line, site = open_line(), list_sites("class_a_zone")[0]
    loop = build_loop(read_site(site))
    (kept,) = list_bare(loop)
    row = next(
        r for r in line.list_rows("measurements", site) if (r.get("red"), r["mode"]) == (kept.red, kept.mode.text)
    )
    faults = ("healthy", "zone_input_leaks=3000@zone1", "leak=1000@det1.in")
    (told,) = Bench(loop, [parse_faults(f, loop) if f != "healthy" else () for f in faults]).forecast_all([kept])
    assert told.mean is not None
    for fault, volts in zip(faults, told.mean, strict=True):
        plant = Plant(site, fault, "aged", (1,))
        read = parse_quantity(Person(build_world(line, site, fault, plant.seed), plant).read(row), "V")
        assert read == pytest.approx(volts, rel=0.06), fault


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone", "dry_contacts"])
def test_referee_reads_a_tired_zone_source_low_and_a_leak_as_nothing(style: str) -> None:
    line, site = open_line(), list_sites(style)[0]
    rows = (r for r in line.list_rows("measurements", site) if r["mode"].startswith("pair_lifted:zone"))
    row = next(r for r in rows if str(r.get("red", "")).startswith("panel."))
    faults = ("healthy", "outside.tired_zone_source", f"leak=1k@{RUNS[style]}")
    plants = [Plant(site, fault, "aged", (1,)) for fault in faults]
    healthy, tired, leaking = (
        parse_quantity(Person(build_world(line, site, p.fault, p.seed), p).read(row), "V") for p in plants
    )
    assert tired < 0.9 * healthy
    assert leaking == pytest.approx(healthy, rel=0.05)


def test_known_resistor_and_source_divide_the_volts_whatever_the_field_does() -> None:
    """Voltage divider: E·R / (R + Rs + Rfeed), the field lifted."""
    loop = wire_quick("two_wire_zone", 3)
    source = loop.by_name["source.zone1"]
    assert source.curve is not None
    faults = [(), parse_faults("leak=1k@det2.in", loop), parse_faults("zone_feed_resistive=3k@zone1", loop)]
    (known,) = list_known(loop)
    (told,) = Bench(loop, faults).forecast_all([known])
    assert told.mean is not None
    right_ohm, inner_ohm = known.mode.resistance_ohm or 0.0, 1 / source.curve.after_s
    assert told.mean[0] == pytest.approx(source.emf_v * right_ohm / (right_ohm + inner_ohm), rel=1e-3)
    assert told.mean[1] == pytest.approx(told.mean[0], rel=1e-6)
    assert told.mean[2] == pytest.approx(source.emf_v * right_ohm / (right_ohm + inner_ohm + 3000), rel=1e-3)
    assert {"meter", "resistor"} <= known.tools


def list_known(loop: Loop) -> list[Measurement]:
    return [m for m in list_measurements(loop) if m.kind == "volts" and m.mode.word == "known_resistor"]


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone", "dry_contacts", "class_a_zone", "two_loops"])
def test_referee_reads_its_own_zone_with_its_own_right_resistor(style: str) -> None:
    line, site = open_line(), list_sites(style)[0]
    plants = [Plant(site, fault, "aged", (1,)) for fault in ("healthy", "zone_feed_resistive=3000@zone1")]
    loop = build_loop(read_site(site))
    bench = Bench(loop, [parse_faults(p.fault, loop) if p.fault != "healthy" else () for p in plants])
    for told in bench.forecast_all(list_known(loop)):
        m = told.measurement
        rows = line.list_rows("measurements", site)
        row = next(r for r in rows if (r.get("red"), r.get("mode")) == (m.red, m.mode.text))
        for n, p in enumerate(plants):
            assert told.mean is not None
            read = parse_quantity(Person(build_world(line, site, p.fault, p.seed), p).read(row), "V")
            assert read == pytest.approx(told.mean[n], rel=0.06), (m.key, p.fault)


def test_it_brings_cautions_and_minutes() -> None:
    loop = wire_quick("two_wire_zone", 3)
    (bare,) = list_bare(loop)
    filled = next(m for m in list_measurements(loop) if (m.red, m.mode.text) == (bare.red, "standby"))
    assert {"outputs", "tell_people", "evidence_first", "out_of_service", "live_cabinet", "put_back"} <= set(
        bare.cautions
    )
    assert bare.find_minutes("panel") > filled.find_minutes("panel")
