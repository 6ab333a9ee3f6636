"""What a design check looks at, loop by loop: pairs that are watched, what is on them, what feeds the detectors."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from diagnostics.source import TreePath
from diagnostics.wiring import Band, Detector, Edits, Hold, Loop, LoopSpec, Reset

from .corners import Pair, hold_alarm

# What feeds detectors with a supply beside the zone, where it is not the auxiliary output.
_FEEDS: Mapping[Reset | None, str] = {Reset.RESETTABLE_OUTPUT: "switched", Reset.SEPARATE_SUPPLY: "supply"}


@dataclass(frozen=True, slots=True)
class Stretch:
    """One loop of a site: ``number`` in the site file, its detectors in order, and the place of its far end.

    ``relay`` is the supervision relay there, or an empty text.
    """

    number: int
    spec: LoopSpec
    detectors: tuple[Detector, ...]
    end: str
    relay: str

    @property
    def is_contacts(self) -> bool:
        """Return whether its detectors are dry contacts, which draw nothing and need no volts."""
        return self.detectors[0].is_contact

    def find_path(self, detector: str) -> TreePath:
        """Return where the site file speaks of a detector."""
        names = [d.name for d in self.detectors]
        row: TreePath = ("detectors", names.index(detector)) if self.spec.detectors else ("count",)
        return ("loops", self.number, *row)


@dataclass(frozen=True, slots=True)
class Watched:
    """A pair that a panel zone or a module watches: what it must show, and its end resistor.

    ``normal`` are edits that keep what stands before it in order: a zone behind a module is looked at by itself.
    ``alarms`` are (detector, or empty for the module's output; edits that put it in alarm); ``far`` the terminals where
    a short is hardest to see; ``values`` those that the site file gives for its windows.
    """

    name: str
    ends: Pair
    bands: tuple[Band, ...]
    normal: Edits
    alarms: tuple[tuple[str, Edits], ...]
    resistor: str
    far: Pair
    stretch: Stretch
    values: Mapping[str, str]
    path: TreePath


def list_stretches(loop: Loop) -> tuple[Stretch, ...]:
    """Return the loops of a site as they are wired."""
    return tuple(Stretch(n, c.spec, c.detectors, c.end, c.end_relay) for n, c in enumerate(loop.chains))


def list_watched(loop: Loop) -> tuple[Watched, ...]:
    """Return every pair that is watched, those of a module before the zones that it reports on."""
    return tuple(w for stretch in list_stretches(loop) for w in _list_of(loop, stretch))


def _list_of(loop: Loop, stretch: Stretch) -> Iterator[Watched]:
    spec = stretch.spec
    at: TreePath = ("loops", stretch.number, "end_resistor")
    panel = loop.site.panel.values
    if loop.module is None or not spec.style.is_module:
        zone = next(z for z in loop.zones if z.name == spec.zone)
        names = tuple(d.name for d in stretch.detectors)
        rest = (loop.end_resistors[stretch.end], _find_far(stretch, names), stretch, panel, at)
        yield Watched(zone.name, (zone.plus, zone.minus), zone.bands, (), _hold_each(names), *rest)
        return
    for c in loop.module.channels:
        names = tuple(d.name for d in stretch.detectors if c.label in {"", d.senses})
        resistor = loop.end_resistors[f"{stretch.end}_{c.label}" if c.label else stretch.end]
        far = _find_far(stretch, names) if names else (f"field.{c.name}+", f"field.{c.name}-")
        rest = (resistor, far, stretch, spec.module.values, at)
        yield Watched(c.name, (c.plus, c.minus), c.bands, (), _hold_each(names), *rest)
    for name, label in ((spec.zone, "fire"), (spec.co_zone, "co")):
        if name is not None:
            yield _watch_output(loop, stretch, name, f"module.{label}")


def _watch_output(loop: Loop, stretch: Stretch, name: str, place: str) -> Watched:
    """Return the zone that an output of the module reports on, with the module's own loop in order."""
    zone = next(z for z in loop.zones if z.name == name)
    sound = tuple(Hold(f"module.{state}", value=False) for state in ("trouble", "fire", "co"))
    alarms = (("", (*sound, Hold(place, value=True))),)
    rest = (loop.end_resistors[place], (f"{place}+", f"{place}-"), stretch, loop.site.panel.values, ("zones", name))
    return Watched(name, (zone.plus, zone.minus), zone.bands, sound, alarms, *rest)


def _hold_each(names: tuple[str, ...]) -> tuple[tuple[str, Edits], ...]:
    return tuple((name, hold_alarm([name])) for name in names)


def _find_far(stretch: Stretch, detectors: tuple[str, ...]) -> Pair:
    """Return the terminals at the far end of the pair that these detectors report on."""
    cores = "+-" if stretch.spec.style.is_two_wire else ("_a", "_b")
    plus, minus = (f"{detectors[-1]}.out{core}" for core in cores)
    return plus, minus


def find_span(bands: tuple[Band, ...], wanted: str) -> tuple[float, float]:
    """Return from where to where (V) a pair shows what is wanted: ``normal``, ``alarm``, ``open`` or ``short``.

    A short may show as alarm or as trouble, by the panel; whatever shows the same beside it counts with it.
    """
    if wanted == "open":
        return bands[-1].low_v, bands[-1].high_v
    state = bands[0].state if wanted == "short" else wanted
    some = [n for n, band in enumerate(bands) if band.state == state]
    if not some:
        return float("inf"), float("-inf")
    first = last = some[0]
    while last + 1 in some:
        last += 1
    return bands[first].low_v, bands[last].high_v


def list_worst_alarm(loop: Loop) -> tuple[str, ...]:
    """Return who is in alarm when the most is drawn: all with a supply beside the zone, the first of any other loop."""
    found = ([d.name for d in s.detectors[: 1 if s.spec.style.is_two_wire else None]] for s in list_stretches(loop))
    return tuple(name for names in found for name in names)


def list_outputs(loop: Loop) -> tuple[str, ...]:
    """Return the names of what feeds detectors or a module, as in aux, switched, supply, zone1, loop."""
    names = [_FEEDS.get(s.spec.reset, "aux") for s in list_stretches(loop) if s.spec.style.has_supply]
    names += [s.spec.zone for s in list_stretches(loop) if s.spec.style.is_fed_by_zone]
    names += [c.name for c in (loop.module.channels if loop.module else ())]
    return tuple(dict.fromkeys(names))
