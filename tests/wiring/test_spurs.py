"""Detectors installed on a spur (T-tap): the same circuit as the fault of that name, and nothing supervises it.

Sources: the project's consequence table (spur at k without a resistor: normal, no trouble with its head off, an open in
it shows nothing until a detector there is dark), derived from the circuit; a branch lies outside the monitored path of
class B (NFPA 72, 2010 edition onward, seen in secondary texts).
"""

from functools import cache

import pytest

from diagnostics.cases import parse_site_text
from diagnostics.circuit import parse_mode
from diagnostics.errors import SourceError
from diagnostics.faults import list_faults, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.proving import check_design
from diagnostics.readings import Prediction, predict_mode
from diagnostics.wiring import Loop, build_loop, find_defects, read_site

STYLES = ("bench_two_wire", "bench_four_wire", "bench_module_two_wire", "bench_module_four_wire", "bench_class_a",
          "bench_dry_contacts")  # fmt: skip


@cache
def build(name: str, *spurs: int) -> Loop:
    """Return a shipped bench with some of its detectors on a spur."""
    site = read_site(find_shipped("cases") / "sites" / f"{name}.yaml")
    spec = site.loops[0]
    own = [d.model_copy(update={"spur": n in spurs}) for n, d in enumerate(spec.all_detectors, 1)]
    chain = spec.model_copy(update={"detectors": tuple(own), "count": None})
    return build_loop(site.model_copy(update={"loops": (chain, *site.loops[1:])}))


def predict(loop: Loop, faults: str = "", mode: str = "standby") -> Prediction:
    return predict_mode(loop, parse_faults(faults, loop), parse_mode(mode, loop))


@pytest.mark.parametrize("name", STYLES)
def test_installed_spur_reads_as_the_fault_of_that_name(name: str) -> None:
    """Runs of one length: where the spur hangs, the loop goes on from the tap with a run of the same length.

    Left for the tolerance: a contact pair that only passes by goes on from the tap as well.
    """
    ours, theirs = build(name, 2), build(name)
    if "spur@det2" not in {f.text for f in list_faults(theirs)}:
        pytest.fail(f"{name} has no such fault")
    seen, meant = predict(ours), predict(theirs, "spur@det2")
    assert seen.panel == meant.panel
    assert seen.states == meant.states
    volts = {r.measurement.key: r.ideal for r in meant.readings if r.measurement.kind == "volts"}
    for r in seen.readings:
        if r.measurement.kind == "volts":
            assert r.ideal == pytest.approx(volts[r.measurement.key], abs=0.01), r.measurement.key


@pytest.mark.parametrize("name", STYLES)
def test_an_open_in_a_spur_shows_nothing_and_is_reported_as_a_defect(name: str) -> None:
    loop = build(name, 2)
    assert "spur_not_supervised" in find_defects(loop)
    assert "spur_not_supervised" not in find_defects(build(name))
    assert "D214" in {flaw.code for flaw in check_design(loop).flaws}
    place = next(p for p in loop.pairs if p.startswith("det2.in"))
    core = loop.pairs[place][0].removeprefix("wire.")
    assert predict(loop, f"conductor_open@{core}").panel == predict(loop).panel
    assert predict(build(name), f"conductor_open@{core}").panel != predict(build(name)).panel or "four" in name


@pytest.mark.parametrize("name", ["bench_two_wire", "bench_module_two_wire"])
def test_a_head_off_in_the_spur_brings_no_trouble_and_one_on_the_loop_does(name: str) -> None:
    loop = build(name, 2)
    assert predict(loop, mode="head_off:det2").panel == predict(loop).panel
    assert predict(loop, mode="head_off:det3").panel != predict(loop).panel


def test_detectors_in_a_row_are_one_branch() -> None:
    loop = build("bench_two_wire", 2, 3)
    dark = predict(loop, "conductor_open@det3.in+").states
    assert {n for n, state in dark.items() if state == "dark"} == {"det3"}
    dark = predict(loop, "conductor_open@det2.in+").states
    assert {n for n, state in dark.items() if state == "dark"} == {"det2", "det3"}


@pytest.mark.parametrize("spurs", [(1,), (4,)])
def test_a_spur_at_either_end_of_the_list_is_refused_with_what_to_do(spurs: tuple[int, ...]) -> None:
    lines = "".join(f"      - {{room: R{n}, spur: {'true' if n in spurs else 'false'}}}\n" for n in range(1, 5))
    text = (
        "format: ohmward-site/1\nname: Spur (invented)\nzones:\n  zone1: {end_resistor: 4.7 kΩ}\nloops:\n"
        f"  - zone: zone1\n    style: two_wire_zone\n    detectors:\n{lines}"
    )
    with pytest.raises(SourceError, match="hangs between the first and the last detector"):
        parse_site_text(text, "spur.yaml")
