"""A detector that latches, pulls its own supply down and lets go, over and over: named, and no worry to its neighbours.

That there is no state to rest in is shown on the circuit itself: held latched it lets go, held quiet it latches.
"""

import pytest

from diagnostics.circuit import (
    Settled,
    apply_step,
    apply_steps,
    build_network,
    build_steps,
    parse_mode,
    settle_from_rest,
)
from diagnostics.faults import build_all_edits, parse_faults
from diagnostics.wiring import Edits, Hold, Loop
from tests.wiring.quick import wire_quick

POOR = "joint_resistive=5.5k@det2.in+"


def settle(loop: Loop, *edits: Edits) -> Settled:
    return apply_steps(
        settle_from_rest(build_network(loop, list(edits))), build_steps(parse_mode("alarm:det2", loop), loop)
    )


@pytest.fixture
def loop() -> Loop:
    return wire_quick("two_wire_zone", 3)


def test_neither_latched_nor_quiet_is_a_state_to_rest_in(loop: Loop) -> None:
    poor = build_all_edits(loop, parse_faults(POOR, loop))
    held = settle(loop, *((*poor, Hold("det2.latched", value=value)) for value in (True, False)))
    d = next(d for d in loop.detectors if d.name == "det2")
    latched, quiet = held.volts(d.plus, d.minus)
    assert latched < d.release_v
    assert quiet >= d.powered_v


def test_what_swings_is_named_and_the_rest_of_the_batch_comes_to_rest(loop: Loop) -> None:
    some = [(), build_all_edits(loop, parse_faults(POOR, loop)), ()]
    settled = settle(loop, *some)
    assert settled.chatter == ((), ("det2.latched",), ())
    assert settled.signal("det2.latched")[[0, 2]].all()
    alone = [settle(loop, one) for one in some]
    for n, one in enumerate(alone):
        assert (one.signals[:, 0] == settled.signals[:, n]).all()
        assert one.chatter[0] == settled.chatter[n]


def test_it_stands_the_same_however_long_it_is_watched(loop: Loop) -> None:
    settled = settle(loop, build_all_edits(loop, parse_faults(POOR, loop)))
    again = apply_step(settled, {"det2.smoke": True})
    assert again.chatter == settled.chatter
    assert (again.signals == settled.signals).all()
