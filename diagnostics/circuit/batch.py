"""One call for a whole batch of circuits."""

from collections.abc import Sequence

from diagnostics.wiring import Edits, Loop

from .network import build_network
from .settle import Settled, Step, apply_steps, settle_from_rest


def solve_batch(loop: Loop, edits: Sequence[Edits], steps: Sequence[Step] = ()) -> Settled:
    """Return every circuit, settled, after the same sequence of actions.

    Parameters
    ----------
    loop
        The installed loop, as it should be.
    edits
        One tuple of edits per circuit; ``()`` is the loop without a fault.
    steps
        Actions in order, each a mapping of signals; none is *standby*.

    Raises
    ------
    PhysicsError
        An edit does not fit the loop, or a circuit has no balance of volts and currents.
    """
    return apply_steps(settle_from_rest(build_network(loop, edits)), steps)
