"""The loop as a graph, and its edits."""

import numpy as np
import pytest

from diagnostics.circuit import build_steps, parse_mode, solve_batch
from diagnostics.faults import Fault, list_faults
from diagnostics.wiring import EARTH, Add, Curve, Element, Hold, Kind, Loop, Move, Remove, SetResistance, apply_edits
from tests.wiring.quick import STYLES, wire_quick


def find_beyond(loop: Loop, removed: str, source: str) -> set[str]:
    """Return what a missing element cuts off, beside what no metal joins to the source anyway."""
    return set(loop.find_cut_off([removed], source)) - set(loop.find_cut_off([], source))


@pytest.mark.parametrize("core", ["+", "-"])
@pytest.mark.parametrize("k", [1, 3, 5])
def test_open_conductor_cuts_off_everything_beyond_it_on_its_own_side(core: str, k: int) -> None:
    loop = wire_quick("two_wire_zone", 5)
    beyond = find_beyond(loop, f"wire.det{k}.in{core}", f"panel.zone1{core}")
    assert beyond == {f"det{n}.{side}{core}" for n in range(k, 6) for side in ("in", "out")}


@pytest.mark.parametrize("core", ["+", "-", "_a", "_b"])
def test_open_conductor_of_one_pair_leaves_the_other_pair_whole(core: str) -> None:
    loop = wire_quick("four_wire_zone", 4)
    source = {"+": "panel.aux+", "-": "panel.aux-", "_a": "panel.zone1+", "_b": "panel.zone1-"}[core]
    beyond = find_beyond(loop, f"wire.det3.in{core}", source)
    inner = {f"det{n}.{side}{core}" for n in (3, 4) for side in ("in", "out")}
    tail = {"+": {"endrelay.coil+"}, "-": {"endrelay.coil-"}, "_a": {"endrelay.com", "endrelay.no"}, "_b": set()}[core]
    assert beyond == inner | tail


@pytest.mark.parametrize("style", STYLES)
def test_graph_has_an_edge_for_every_element_and_no_node_floats(style: str) -> None:
    loop = wire_quick(style, 5)
    assert {key for *_, key in loop.graph.edges(keys=True)} == set(loop.by_name)
    assert all(loop.graph.has_edge(t, EARTH, key=f"leak.{t}") for t in loop.terminals if t != EARTH)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("mode", ["standby", "alarm:det2", "lifted_supply_on", "during_reset", "head_off:det1"])
def test_edited_loop_is_what_the_batch_makes_of_the_edits(style: str, mode: str) -> None:
    loop = wire_quick(style, 3)
    steps = build_steps(parse_mode(mode, loop), loop)
    faults: tuple[Fault, ...] = list_faults(loop)[::3]
    batch = solve_batch(loop, [f.build_edits(loop) for f in faults], steps)
    for column, fault in enumerate(faults):
        alone = solve_batch(apply_edits(loop, fault.build_edits(loop)), [()], steps)
        for red, black in loop.meter_points:
            assert np.isclose(batch.volts(red, black)[column], alone.volts(red, black)[0], rtol=0, atol=1e-8), fault


def test_each_edit_does_what_its_name_says() -> None:
    loop = wire_quick("two_wire_zone", 2)
    bridge = Element("bridge", Kind.RESISTOR, "det1.in+", "new.terminal", 100.0)
    edits = (
        SetResistance("end.resistor", 10.0),
        Remove("wire.det2.in-"),
        Add(bridge),
        Move("wire.det2.in+", "b", "det2.out+"),
        Hold("det1.dead", value=True),
    )
    edited = apply_edits(loop, edits)
    assert edited.by_name["end.resistor"].resistance_ohm == 10.0
    assert "wire.det2.in-" not in edited.by_name
    assert edited.by_name["bridge"] == bridge
    assert (edited.by_name["wire.det2.in+"].a, edited.by_name["wire.det2.in+"].b) == ("det1.out+", "det2.out+")
    assert edited.holds == {("det1.dead", True)}
    leak_ohm = loop.by_name["leak.det1.in+"].resistance_ohm
    assert edited.by_name["leak.new.terminal"].resistance_ohm == leak_ohm
    assert loop.elements == wire_quick("two_wire_zone", 2).elements
    assert "bridge" not in loop.by_name


def test_edit_of_what_is_not_there_is_refused() -> None:
    with pytest.raises(KeyError, match=r"wire\.det9"):
        apply_edits(wire_quick("two_wire_zone", 2), (Remove("wire.det9.in+"),))


@pytest.mark.parametrize("points", [(), ((1.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 0.0)), ((1.0, 0.0), (1.0, 1.0))])
def test_curve_that_falls_or_doubles_back_is_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="rise in volts"):
        Curve(points)


@pytest.mark.parametrize("ohm", [0.0, -1.0, float("nan")])
def test_resistance_that_is_not_positive_is_refused(ohm: float) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        Element("x", Kind.RESISTOR, "a", "b", ohm)
