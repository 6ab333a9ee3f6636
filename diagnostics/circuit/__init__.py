"""DC operating points of a loop under faults: loads, steps, whole batches, the meter, netlists."""

from .batch import solve_batch
from .compiled import Point
from .meter import MeterInput, Shown, read_meter, to_ohms
from .modes import (
    STANDBY,
    Mode,
    build_mode_edits,
    build_opening,
    build_steps,
    list_liftable,
    list_mode_words,
    parse_mode,
)
from .netlist import find_conducting, name_nodes, write_netlist
from .network import Network, build_network
from .settle import Settled, Step, apply_step, apply_steps, find_powered, settle_from_rest
from .together import work_together

__all__ = [
    "STANDBY", "MeterInput", "Mode", "Network", "Point", "Settled", "Shown", "Step", "apply_step", "apply_steps",
    "build_mode_edits", "build_network", "build_opening", "build_steps", "find_conducting", "find_powered",
    "list_liftable", "list_mode_words", "name_nodes", "parse_mode", "read_meter", "settle_from_rest", "solve_batch",
    "to_ohms", "work_together", "write_netlist",
]  # fmt: skip
