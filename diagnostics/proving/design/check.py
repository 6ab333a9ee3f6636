"""The design check: whether an installed loop, with everything sound, can do what is asked of it, and by how much.

Every volt and ampere is the engine's, at values as described and at the corners of the tolerances. What is compared
with what follows check lists of the trade (two-wire compatibility, volts at the last detector, load of an output: common
practice, no source); the limits are those of the site file or of the generic profiles.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from diagnostics.wiring import Loop, find_defects

from .capacity import Capacity, find_capacity
from .chains import Stretch, list_stretches, list_watched
from .corners import Reach
from .loads import check_battery, check_loads
from .rows import NO_CEILING, Design, Flaw, Row
from .volts import check_volts
from .windows import check_windows

CODES: Final = {"volts": "D201", "load": "D202", "standby": "D203", "alarm": "D204", "open": "D205", "short": "D206"}
LATCH: Final = "D207"
DEFECTS: Final = {"supply_not_supervised": "D211", "never_reset": "D212", "co_reports_nowhere": "D213"}


def check_design(loop: Loop) -> Design:
    """Return the design check of a loop.

    Raises
    ------
    PhysicsError
        The circuit has no balance of volts and currents.
    """
    stretches = list_stretches(loop)
    volts = [row for stretch in stretches for row in check_volts(loop, stretch)]
    windows = [row for watched in list_watched(loop) for row in check_windows(loop, watched)]
    loads = list(check_loads(loop))
    carries = {s.number: find_capacity(loop, s, list_watched(loop)) for s in stretches}
    rows = [*volts, *loads, *windows]
    rows = [replace(row, carries=_find_carries(carries, row)) for row in rows]
    rows += [_build_carries(s, carries[s.number]) for s in stretches]
    rows += check_battery(loop)
    return Design(tuple(rows), (*_list_flaws(rows), *_list_defects(loop)))


def _find_carries(carries: Mapping[int, Capacity], row: Row) -> Capacity | None:
    number = row.path[1] if len(row.path) > 1 and row.path[0] == "loops" else None
    return carries.get(number) if isinstance(number, int) else None


def _list_flaws(rows: Sequence[Row]) -> Iterator[Flaw]:
    """Yield a flaw for each row that does not hold, one for each code and place: the one that is worst."""
    worst: dict[tuple[str, str], Row] = {}
    for row in rows:
        key = (_find_code(row), row.detector or row.at)
        if row.verdict != "holds" and (key not in worst or row.margin < worst[key].margin):
            worst[key] = row
    for (code, _), row in worst.items():
        yield Flaw(code, "warning" if row.verdict == "fails" else "note", row.path, row)


def _find_code(row: Row) -> str:
    return LATCH if row.check == "latch" else CODES.get(row.check) or CODES.get(row.condition, "")


def _list_defects(loop: Loop) -> Iterator[Flaw]:
    for name in find_defects(loop):
        yield Flaw(
            DEFECTS[name], "warning", ("loops", 0, "reset") if name == "never_reset" else ("loops", 0), None, name
        )


def _build_carries(stretch: Stretch, capacity: Capacity) -> Row:
    reach = Reach(capacity.nominal, capacity.worst, capacity.nominal)
    fitted = len(stretch.detectors)
    return Row(
        "carries", stretch.end, "standby", "", reach, fitted, NO_CEILING, "fitted", given=True,
        path=("loops", stretch.number), carries=capacity,
    )  # fmt: skip
