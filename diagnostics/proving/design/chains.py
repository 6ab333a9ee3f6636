"""What a design check looks at, loop by loop: pairs that are watched, what is on them, what feeds the detectors."""

from collections.abc import Iterator
from dataclasses import dataclass

from diagnostics.source import TreePath
from diagnostics.wiring import Band, Detector, Loop, LoopSpec

from .corners import Pair


@dataclass(frozen=True, slots=True)
class Stretch:
    """One loop of a site: ``number`` in the site file, its detectors in order, and the place of its far end."""

    number: int
    spec: LoopSpec
    detectors: tuple[Detector, ...]
    end: str

    def find_path(self, detector: str) -> TreePath:
        """Return where the site file speaks of a detector."""
        names = [d.name for d in self.detectors]
        row: TreePath = ("detectors", names.index(detector)) if self.spec.detectors else ("count",)
        return ("loops", self.number, *row)


@dataclass(frozen=True, slots=True)
class Watched:
    """A pair that a panel zone or a module watches, the detectors whose alarm it must show, and its end resistor.

    ``far`` are the terminals where a short is hardest to see; ``limits`` where the site file speaks of its windows.
    """

    name: str
    ends: Pair
    bands: tuple[Band, ...]
    detectors: tuple[str, ...]
    resistor: str
    far: Pair
    stretch: Stretch
    limits: TreePath


def list_stretches(loop: Loop) -> tuple[Stretch, ...]:
    """Return the loops of a site as they are wired."""
    return (Stretch(0, loop.spec, loop.detectors, "end"),)


def list_watched(loop: Loop) -> tuple[Watched, ...]:
    """Return every pair that is watched, those of a module before the zones that it reports on."""
    return tuple(w for stretch in list_stretches(loop) for w in _list_of(loop, stretch))


def _list_of(loop: Loop, stretch: Stretch) -> Iterator[Watched]:
    spec, names = stretch.spec, tuple(d.name for d in stretch.detectors)
    if loop.module is None or not spec.style.is_module:
        far = _find_far(stretch, names)
        yield _watch_zone(loop, stretch, spec.zone, names, (loop.end_resistors[stretch.end], far))
        return
    at: TreePath = ("loops", stretch.number, "module")
    for c in loop.module.channels:
        some = tuple(d.name for d in stretch.detectors if c.label in {"", d.senses})
        resistor = loop.end_resistors[f"{stretch.end}_{c.label}" if c.label else stretch.end]
        far = _find_far(stretch, some) if some else (f"field.{c.name}+", f"field.{c.name}-")
        yield Watched(c.name, (c.plus, c.minus), c.bands, some, resistor, far, stretch, at)
    for zone, label in ((spec.zone, "fire"), (spec.co_zone, "co")):
        if zone is not None:
            some = tuple(d.name for d in stretch.detectors if d.senses == label)
            place = f"module.{label}"
            rest = (loop.end_resistors[place], (f"{place}+", f"{place}-"))
            yield _watch_zone(loop, stretch, zone, some, rest)


def _watch_zone(loop: Loop, stretch: Stretch, name: str, detectors: tuple[str, ...], rest: tuple[str, Pair]) -> Watched:
    zone = next(z for z in loop.zones if z.name == name)
    return Watched(name, (zone.plus, zone.minus), zone.bands, detectors, *rest, stretch, ("panel",))


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


def list_outputs(loop: Loop) -> tuple[str, ...]:
    """Return the names of what can feed detectors or a module, as in aux, switched, supply, zone1, loop."""
    starts = ("aux", "switched", "supply", *(z.name for z in loop.zones))
    channels = tuple(c.name for c in (loop.module.channels if loop.module else ()))
    return tuple(name for name in (*starts, *channels) if f"source.{name}" in loop.by_name)
