"""What panel zones and modules read on their pairs: normal, open, short and alarm, each in its window."""

from collections.abc import Iterator

from diagnostics.source import TreePath
from diagnostics.wiring import Add, Edits, Element, Kind, Loop, Remove

from .chains import Watched, find_span
from .corners import Case, Reach, find_reaches, hold_alarm
from .rows import Row

SHORT_OHM = 1e-3


def check_windows(loop: Loop, watched: Watched) -> Iterator[Row]:
    """Yield the volts of a watched pair when all is well, without its end resistor, shorted far out, and in alarm."""
    short = Add(Element("short.design", Kind.JOINT, *watched.far, SHORT_OHM))
    conditions: list[tuple[str, str, Edits, str]] = [
        ("standby", "normal", (), ""),
        ("open", "open", (Remove(watched.resistor),), ""),
        ("short", "short", (short,), ""),
        *(("alarm", "alarm", hold_alarm([name]), name) for name in watched.detectors),
    ]
    reaches = find_reaches(
        loop, [Case(edits) for _, _, edits, _ in conditions], [(n, watched.ends) for n in range(len(conditions))]
    )
    rows = [
        _build_window(watched, condition, wanted, reach, detector)
        for (condition, wanted, _, detector), reach in zip(conditions, reaches, strict=True)
    ]
    yield from rows[:3]
    if len(rows) > 3:
        yield min(rows[3:], key=lambda row: row.margin)


def _build_window(watched: Watched, condition: str, wanted: str, reach: Reach, detector: str) -> Row:
    stretch = watched.stretch
    is_module = watched.limits != ("panel",)
    floor, ceiling = find_span(watched.bands, wanted)
    limit = {"standby": "normal_from", "open": "open_from", "short": "short_below", "alarm": "alarm_below"}[condition]
    path: TreePath = ("loops", stretch.number, "end_resistor")
    if not is_module and stretch.spec.style.is_module:
        path = ("zones", watched.name)
    given = is_module and any(name.startswith(limit) for name in stretch.spec.module.values)
    return Row(
        "window", watched.name, condition, "V", reach, floor, ceiling, limit, given, path, detector,
    )  # fmt: skip
