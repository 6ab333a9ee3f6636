"""Pairs of faults that only one more lead position tells apart: the tell-tale is in the circuit, not in the words.

That a meter's black lead goes to the minus which feeds a module, not only to the module's own, and that the contact of
a supervision relay is metered across, is common practice, no source; the volts follow from the circuit.
"""

import pytest

from diagnostics.circuit import STANDBY
from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import predict_mode
from diagnostics.wiring import Loop, build_loop, read_site

SITES = find_shipped("cases") / "sites"


def open_site(name: str) -> Loop:
    return build_loop(read_site(SITES / f"{name}.yaml"))


def read(loop: Loop, fault: str, red: str, black: str) -> float:
    found = predict_mode(loop, parse_faults(fault, loop), STANDBY).readings
    return next(r.value for r in found if (r.measurement.red, r.measurement.black) == (red, black))


@pytest.mark.parametrize("site", ["bench_module_two_wire", "bench_module_four_wire"])
def test_volts_to_the_feeding_minus_tell_an_open_minus_from_an_open_plus(site: str) -> None:
    loop = open_site(site)
    minus = next(
        m.measurement.black
        for m in predict_mode(loop, (), STANDBY).readings
        if m.measurement.red == "module.in+" and m.measurement.black != "module.in-"
    )
    sound = read(loop, "", "module.in+", minus)
    for fault in ("supply_minus_missing@module", "conductor_open@module.in+"):
        assert abs(read(loop, fault, "module.in+", "module.in-")) < 1.0, "the module's own terminals tell nothing"
    assert read(loop, "supply_minus_missing@module", "module.in+", minus) == pytest.approx(sound, rel=0.02)
    assert abs(read(loop, "conductor_open@module.in+", "module.in+", minus)) < 1.0


def test_volts_across_the_contact_tell_a_dead_supervision_relay_from_a_missing_resistor() -> None:
    loop = open_site("bench_four_wire")
    across = ("endrelay.com", "endrelay.no")
    assert abs(read(loop, "", *across)) < 0.1
    dead, missing = (read(loop, f, *across) for f in ("end_relay_dead@end", "end_resistor_missing@end"))
    zone = [read(loop, f, "panel.zone1+", "panel.zone1-") for f in ("end_relay_dead@end", "end_resistor_missing@end")]
    assert zone[0] == pytest.approx(zone[1], rel=0.01), "the zone shows the same open loop"
    assert dead > 0.9 * zone[0]
    assert abs(missing) < 0.1
