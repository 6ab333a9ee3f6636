"""The design check: whether an installed loop, with everything sound, can do what is asked of it, and by how much.

Every volt and ampere is the engine's, at values as described and at the corners of the tolerances. What is compared
with what follows check lists of the trade (two-wire compatibility, volts at the last detector, load of an output:
common practice, no source); the limits are those of the site file or of the generic profiles.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from diagnostics.errors import Severity
from diagnostics.source import TreePath
from diagnostics.wiring import Loop, Reset, find_defects

from .capacity import Capacity, find_capacity
from .chains import Stretch, list_stretches, list_watched
from .corners import Reach
from .loads import check_battery, check_loads
from .rows import NO_CEILING, Design, Flaw, Row
from .volts import check_volts
from .windows import check_windows

CODES: Final = {"volts": "D201", "load": "D202", "standby": "D203", "alarm": "D204", "open": "D205", "short": "D206"}
OWN_CODES: Final = {"latch": "D207", "most_volts": "D208"}
DEFECTS: Final = {
    "supply_not_supervised": "D211",
    "never_reset": "D212",
    "co_reports_nowhere": "D213",
    "spur_not_supervised": "D214",
}


def check_design(loop: Loop) -> Design:
    """Return the design check of a loop.

    Raises
    ------
    PhysicsError
        The circuit has no balance of volts and currents.
    """
    stretches = list_stretches(loop)
    stretches, watched = list_stretches(loop), list_watched(loop)
    carries = {s.number: find_capacity(loop, s, watched) for s in stretches}
    rows = [row for stretch in stretches for row in check_volts(loop, stretch)]
    rows += check_loads(loop)
    rows += [row for w in watched for row in check_windows(loop, w)]
    flaws = (*_list_flaws(rows, stretches, carries), *_list_defects(loop, stretches))
    rows += [_build_carries(s, carries[s.number]) for s in stretches if not s.is_contacts]
    rows += check_battery(loop)
    return Design(tuple(rows), flaws)


def _list_flaws(rows: Sequence[Row], stretches: Sequence[Stretch], carries: Mapping[int, Capacity]) -> Iterator[Flaw]:
    """Yield a flaw for each row that does not hold, one for each code and place: the one that is worst."""
    worst: dict[tuple[str, str], Row] = {}
    for row in rows:
        key = (_find_code(row), row.at)
        if row.verdict != "holds" and (key not in worst or row.margin < worst[key].margin):
            worst[key] = row
    for (code, _), row in worst.items():
        own = next((s for s in stretches if row.path[:2] == ("loops", s.number)), None)
        counts = own is not None and (row.check == "load" or own.spec.style.is_two_wire)
        fitted, most = (len(own.detectors), carries[own.number]) if own and counts else (0, None)
        severity: Severity = "warning" if row.verdict == "fails" else "note"
        yield Flaw(code, severity, row.path, row, fitted=fitted, carries=most)


def _find_code(row: Row) -> str:
    return OWN_CODES.get(row.check) or CODES.get(row.check) or CODES[row.condition]


def _list_defects(loop: Loop, stretches: Sequence[Stretch]) -> Iterator[Flaw]:
    """Yield the silent defects, each at the first loop that has it."""
    fed = [s for s in stretches if s.spec.style.has_supply]
    having = {
        "supply_not_supervised": [s for s in fed if s.spec.style.has_power_pair and not s.relay],
        "never_reset": [s for s in fed if s.spec.reset is Reset.ALWAYS_ON],
        "spur_not_supervised": [s for s in stretches if any(d.spur for d in s.spec.all_detectors)],
        "co_reports_nowhere": [s for s in fed if s.spec.style.is_module],
    }
    for name in find_defects(loop):
        path: TreePath = ("loops", having[name][0].number)
        path = (*path, "reset") if name == "never_reset" else path
        yield Flaw(DEFECTS[name], "warning", path, None, name)


def _build_carries(stretch: Stretch, capacity: Capacity) -> Row:
    reach = Reach(capacity.nominal, capacity.worst, capacity.nominal)
    fitted, path = len(stretch.detectors), ("loops", stretch.number)
    return Row("carries", stretch.spec.zone, "", "", reach, fitted, NO_CEILING, capacity.why, given=False, path=path)
