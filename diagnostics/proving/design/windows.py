"""What panel zones and modules read on their pairs: normal, open, short and alarm, each in its window."""

from collections.abc import Iterator

from diagnostics.wiring import Add, Edits, Element, Kind, Loop, Remove

from .chains import Watched, find_span
from .corners import Case, Reach, find_reaches
from .rows import Row

SHORT_OHM = 1e-3
_LIMITS = {"standby": "normal_from", "open": "open_from", "short": "short_below", "alarm": "alarm_below"}


def check_windows(loop: Loop, watched: Watched) -> Iterator[Row]:
    """Yield the volts of a watched pair when all is well, without its end resistor, shorted far out, and in alarm."""
    short = Add(Element("short.design", Kind.JOINT, *watched.far, SHORT_OHM))
    conditions: list[tuple[str, Edits, str]] = [
        ("standby", (), ""), ("open", (Remove(watched.resistor),), ""), ("short", (short,), ""),
        *(("alarm", edits, name) for name, edits in watched.alarms),
    ]  # fmt: skip
    cases = [Case((*watched.normal, *edits)) for _, edits, _ in conditions]
    reaches = find_reaches(loop, cases, [(n, watched.ends) for n in range(len(cases))])
    told = zip(conditions, reaches, strict=True)
    rows = [_build_window(watched, condition, detector, reach) for (condition, _, detector), reach in told]
    yield from rows[:3]
    if len(rows) > 3:
        yield min(rows[3:], key=lambda row: row.margin)


def _build_window(watched: Watched, condition: str, detector: str, reach: Reach) -> Row:
    floor, ceiling = find_span(watched.bands, "normal" if condition == "standby" else condition)
    limit, path = _LIMITS[condition], watched.path
    given = any(name.startswith(limit) for name in watched.values)
    path = watched.stretch.find_path(detector) if detector else path
    return Row("window", watched.name, condition, "V", reach, floor, ceiling, limit, given, path, detector)
