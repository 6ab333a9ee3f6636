"""A batch must make of edits what the edited loop is: each moved element once, with the value it has been given."""

import contextlib
import itertools

import numpy as np
import pytest

from diagnostics.circuit import solve_batch
from diagnostics.faults import build_all_edits, list_faults, parse_fault
from diagnostics.wiring import Edits, Loop, QuickDescription, apply_edits, build_loop, build_quick_site


def build_quick(style: str, detectors: int) -> Loop:
    answers = QuickDescription(style, str(detectors), "4.7k", "18 AWG", "25 m", "relay", "yes")
    return build_loop(build_quick_site(answers)[0])


LOOPS = {style: build_quick(style, 3) for style in ("two_wire_zone", "four_wire_zone")}


def find_volts(loop: Loop, *faults: str) -> float:
    settled = solve_batch(loop, [build_all_edits(loop, [parse_fault(text, loop) for text in faults])])
    return float(settled.volts(loop.zones[0].plus, loop.zones[0].minus)[0])


@pytest.mark.parametrize("style", LOOPS)
@pytest.mark.parametrize("place", ["panel", "det1", "det2"])
def test_end_resistor_moved_at_both_ends_is_there_once(style: str, place: str) -> None:
    # Moving the resistor nearer only takes a few ohms of cable out of the way: 4.7 kΩ on 1 kΩ stays within 30 mV.
    loop = LOOPS[style]
    assert find_volts(loop, f"end_resistor_before_end@{place}") == pytest.approx(find_volts(loop), abs=0.03)


def test_moved_wire_keeps_its_bad_joint() -> None:
    loop = LOOPS["two_wire_zone"]
    texts = ("joint_resistive=3k@det1.in+", "polarity_reversed@det1")
    # Reversed, detector 1 and all beyond it block: the joint carries the current of the end resistor alone.
    assert find_volts(loop, *texts) == pytest.approx(find_volts(loop, *reversed(texts)), abs=1e-9)
    assert find_volts(loop, *texts) > find_volts(loop, texts[1]) + 1.0


def list_pair_edits(loop: Loop) -> list[Edits]:
    """Return the edits of pairs of faults, without those that the first fault leaves nothing to be wrong with."""
    found = []
    for pair in itertools.combinations(list_faults(loop)[::7], 2):
        with contextlib.suppress(KeyError):
            apply_edits(loop, build_all_edits(loop, pair))
            found.append(build_all_edits(loop, pair))
    return found


@pytest.mark.parametrize("style", LOOPS)
def test_edits_in_a_batch_give_the_volts_of_the_edited_loop(style: str) -> None:
    loop = LOOPS[style]
    pairs = list_pair_edits(loop)
    assert len(pairs) >= 50
    edits = [*(fault.build_edits(loop) for fault in list_faults(loop)), *pairs]
    batch = solve_batch(loop, edits)
    for column, edit in enumerate(edits):
        alone = solve_batch(apply_edits(loop, edit), [()])
        for red, black in loop.meter_points:
            assert np.allclose(batch.volts(red, black)[column], alone.volts(red, black), rtol=0, atol=1e-8)
