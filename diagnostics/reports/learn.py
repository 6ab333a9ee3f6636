"""What is said of a panel zone that was learnt: sentences for screens, lines that a site file takes, an object."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.readings import Edge, Learnt, Reading, Source, Windows, list_cautions, read_table
from diagnostics.source import parse_model, read_file
from diagnostics.units import format_ends, format_quantity
from diagnostics.visit import GENERIC_PANELS, LearntZone, assumes_panel
from diagnostics.wiring import PartSpec, Site, build_part

from .cautions import tell_caution
from .objects import round_number
from .word_table import Region, read_words
from .words import format_percent

_FILE = Path(__file__).with_name("learn.yaml")
# A plain resistor from the tool box carries so much; common practice, no source.
PLAIN_W: Final = 0.25
Object = dict[str, Any]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Table(_Strict):
    format: Literal["ohmward-learn-words/1"]
    title: str
    assumed: str
    how: str
    cautions: str
    kept: str
    watts: str
    zone_v: str
    zone_ohm: str
    straight: str
    crooked: dict[str, str]
    at_current: str
    crooked_hint: str
    edges: dict[str, str]
    narrow: str
    left: dict[str, str]
    paste: str


@dataclass(frozen=True, slots=True)
class Zone:
    """What was read of a zone, and what was made of it; ``part`` is None where the source is no plain one."""

    readings: tuple[Reading, ...]
    source: Source
    windows: Windows | None
    part: PartSpec | None


@cache
def read_learn_words() -> _Table:
    """Return the words of a learnt zone that ship with the package."""
    return parse_model(read_file(_FILE), _Table)


def list_learn_cautions(region: Region = "north_america") -> tuple[tuple[str, str], ...]:
    """Return (title, caution in full) for whoever lifts a zone and puts a resistor on it, most pressing first."""
    return tuple(tell_caution(name, region) for name in _name_cautions())


def tell_panel(site: Site | None = None, profile: str = GENERIC_PANELS[0]) -> str:
    """Return that the values of a panel are assumed and which; empty where the site gives some of its own.

    Without a site: as in a description that says nothing of the panel but, perhaps, that it is one of 12 V.
    """
    if site is not None and not assumes_panel(site):
        return ""
    part = build_part(site.panel.profile if site is not None else profile)
    volts, ohm = (format_quantity(part.number(name), unit) for name, unit in (("zone_v", "V"), ("zone_ohm", "ohm")))
    return read_learn_words().assumed.format(volts=volts, ohm=ohm)


def tell_zone(zone: Zone) -> list[str]:
    """Return sentences: source, how straight it is, each edge of the windows, what was left open."""
    table, source = read_learn_words(), zone.source
    told = _list_watts(zone.readings)
    if source.line != "straight":
        return [*told, tell_crooked(source)]
    told += [_tell_value(table.zone_v, source.zone_v, "V"), _tell_value(table.zone_ohm, source.zone_ohm, "ohm")]
    told.append(table.straight.format(fit=format_percent(source.fit)))
    windows = zone.windows or Windows((), "", tuple(table.left))
    return [*told, *(_tell_edge(edge) for edge in windows.edges), *(table.left[name] for name in windows.open)]


def tell_learnt(learnt: LearntZone) -> list[str]:
    """Return sentences for a screen: what a resistor must carry, and the source of a zone that was learnt."""
    source, table = learnt.source, read_learn_words()
    values = (_tell_value(table.zone_v, source.zone_v, "V"), _tell_value(table.zone_ohm, source.zone_ohm, "ohm"))
    return [*_list_watts(learnt.readings), *values]


def tell_crooked(source: Source) -> str:
    """Return how the readings leave the line of a plain source."""
    table = read_learn_words()
    current = "" if source.limit_a is None else format_quantity(source.limit_a, "A", 2)
    return table.crooked[source.line] + (table.at_current.format(current=current) if current else "")


def _tell_value(sentence: str, one: Learnt, unit: str) -> str:
    value, low, high = format_ends((one.value, max(one.low, 0.0), one.high), unit, 4)
    return sentence.format(value=value, low=low, high=high)


def _list_watts(readings: Sequence[Reading]) -> list[str]:
    return [_tell_watts(r) for r in readings if r.volts_v**2 / r.resistor_ohm > PLAIN_W]


def _tell_watts(r: Reading) -> str:
    return read_learn_words().watts.format(
        resistor=format_quantity(r.resistor_ohm, "ohm", 2),
        watts=format_quantity(r.volts_v**2 / r.resistor_ohm, "W", 2),
        volts=format_quantity(r.volts_v, "V", 3),
    )


def _tell_edge(edge: Edge) -> str:
    table = read_learn_words()
    low, high = format_ends((edge.low_v, edge.high_v), "V")
    more = "" if edge.next_ohm is None else table.narrow.format(resistor=format_quantity(edge.next_ohm, "ohm", 2))
    return table.edges[edge.name].format(low=low, high=high) + more


def render_learn_text(zone: Zone) -> list[str]:
    """Return lines for a terminal; all but the part itself are comments, so that the whole may be pasted."""
    table = read_learn_words()
    cautions = [f"  ! {title}: {text}" for title, text in list_learn_cautions()]
    told = [table.title.format(count=len(zone.readings)), f"{table.cautions}:", *cautions, f"  ! {table.kept}"]
    lines = [*told, *tell_zone(zone), read_words().cautions["outranked"], table.paste]
    return [*(f"# {line}" for line in lines), *(write_part(zone.part) if zone.part else [])]


def write_part(part: PartSpec) -> list[str]:
    """Return a part as lines of a site file."""
    lines = ["panel:", f"  profile: {part.profile}", "  values:"]
    lines += [f"    {name}: {text}" for name, text in part.values.items()]
    return [*lines, "  spreads:", *(f"    {name}: {percent:g} %" for name, percent in part.spreads.items())]


def build_learn_object(zone: Zone) -> Object:
    """Return what was learnt for programs; SI numbers with their unit, low and high the central 95 %."""
    source, windows = zone.source, zone.windows
    values = {"zone_v": (source.zone_v, "V"), "zone_ohm": (source.zone_ohm, "ohm")}
    return {
        "format": "ohmward-panel/1",
        "source": {name: _build_value(one, unit) for name, (one, unit) in values.items()},
        "line": source.line,
        "fit": round_number(source.fit, 6),
        "limit_a": None if source.limit_a is None else round_number(source.limit_a, 6),
        "edges": [_build_edge(edge) for edge in windows.edges] if windows else [],
        "left_open": list(windows.open) if windows else list(read_learn_words().left),
        "panel": None if zone.part is None else _build_part(zone.part),
        "cautions": _name_cautions(),
    }


def _build_value(one: Learnt, unit: str) -> Object:
    low, high = (round_number(v, 6) for v in (one.low, one.high))
    return {"value": round_number(one.value, 6), "sd": round_number(one.sd, 6), "low": low, "high": high, "unit": unit}


def _build_edge(edge: Edge) -> Object:
    low, high, middle = (round_number(v, 6) for v in (edge.low_v, edge.high_v, edge.middle_v))
    return {"name": edge.name, "value": middle, "low": low, "high": high, "unit": "V", "next_ohm": edge.next_ohm}


def _build_part(part: PartSpec) -> Object:
    spreads = {name: f"{percent:g} %" for name, percent in part.spreads.items()}
    return {"profile": part.profile, "values": dict(part.values), "spreads": spreads}


def _name_cautions() -> Sequence[str]:
    kinds = read_table().kinds
    needed = {"is_it_real", *kinds["known_resistor"].cautions, *kinds["volts"].cautions}
    return [name for name in list_cautions() if name in needed]
