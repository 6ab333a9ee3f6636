"""The installed loop: a frozen tuple of elements with a networkx MultiGraph as its view."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import networkx as nx

from .edits import Add, Edits, Hold, Move, Remove, SetResistance
from .elements import EARTH, Battery, Detector, EarthWatch, Element, Kind, Module, Relay, Zone
from .site import LoopSpec, Reset, Site

# What a panel does with a zone beside reading its volts: wires lifted, the known resistor on it, memory, settings.
ZONE_SIGNALS = (
    "lifted",
    "known",
    "latched",
    "bypassed",
    "unsupervised",
    "verifies",
    "faulty",
    "miskind",
    "display",
    "uneasy",
)


@dataclass(frozen=True, slots=True)
class Chain:
    """One loop of a site as it is wired: its detectors in order from the panel, and where it starts and ends.

    ``start`` is the place that its cable starts from: ``panel``, its zone where a site has several loops, or
    ``module``. ``end`` is the place of its far end, ``end_relay`` the supervision relay there, or an empty text.
    ``back`` is where a class A loop comes back to the panel, or an empty text.
    """

    spec: LoopSpec
    detectors: tuple[Detector, ...]
    start: str
    end: str
    end_relay: str
    back: str = ""

    @property
    def first(self) -> Detector:
        """Return the detector nearest to the panel."""
        return self.detectors[0]

    @property
    def last(self) -> Detector:
        """Return the detector farthest from the panel."""
        return self.detectors[-1]

    @property
    def has_order(self) -> bool:
        """Return whether it is known which detector follows which."""
        return self.spec.order == "known"

    @property
    def is_fed(self) -> bool:
        """Return whether it has a supply beside the zone."""
        return self.spec.style.has_supply


@dataclass(frozen=True, eq=False)
class Loop:
    """Everything the solver and the fault kinds need of what is installed: a panel with one loop, or with several.

    ``signals`` are the names of all discrete states; those that are true when nothing has happened yet are in
    ``at_rest``. ``unknowns`` are the shared unknowns that spread predictions, each with unit variance.
    ``pairs`` name, in order from the panel, the pairs of each run of cable: place → (plus core, minus core) elements;
    ``end_resistors`` the end resistors by place. ``earth`` is None where the panel watches for no earth fault.
    """

    site: Site
    chains: tuple[Chain, ...]
    elements: tuple[Element, ...]
    detectors: tuple[Detector, ...]
    relays: tuple[Relay, ...]
    zones: tuple[Zone, ...]
    unknowns: tuple[str, ...]
    pairs: dict[str, tuple[str, str]]
    end_resistors: dict[str, str]
    meter_points: tuple[tuple[str, str], ...]
    battery: Battery
    module: Module | None = None
    holds: frozenset[tuple[str, bool]] = frozenset()
    earth: EarthWatch | None = None

    @cached_property
    def by_name(self) -> dict[str, Element]:
        """Return the elements by name."""
        return {element.name: element for element in self.elements}

    @property
    def fed(self) -> tuple[Chain, ...]:
        """Return the loops that have a supply beside the zone; they share it."""
        return tuple(chain for chain in self.chains if chain.is_fed)

    @property
    def reset(self) -> Reset | None:
        """Return what drops the supply of those loops on reset, or None where there are none."""
        return next((chain.spec.reset or Reset.RELAY for chain in self.fed), None)

    @property
    def module_chain(self) -> Chain | None:
        """Return the loop behind the interface module, or None."""
        return next((chain for chain in self.chains if chain.spec.style.is_module), None)

    @property
    def co_zone(self) -> str | None:
        """Return the zone on which a module reports CO, or None."""
        return next((chain.spec.co_zone for chain in self.chains if chain.spec.co_zone), None)

    @property
    def earth_points(self) -> tuple[tuple[str, str], ...]:
        """Return the terminals of the supply that are metered to earth, and earth."""
        return (("panel.aux+", EARTH), ("panel.aux-", EARTH))

    @property
    def zone_earth_points(self) -> tuple[tuple[str, str], ...]:
        """Return the terminals of each zone, and earth: what they read follows from the supply's and the zone's own."""
        return tuple((t, EARTH) for zone in self.zones for t in (zone.plus, zone.minus))

    def focus(self, zone: str) -> "Loop":
        """Return the same with the loop on a zone as the first of ``chains``; as it is where no loop is on it."""
        first = tuple(chain for chain in self.chains if zone in {chain.spec.zone, chain.spec.co_zone})
        return replace(self, chains=(*first, *(chain for chain in self.chains if chain not in first)))

    def find_chain(self, name: str) -> Chain | None:
        """Return the loop that a detector, a start, an end, a zone or a supervision relay belongs to, or None."""
        return self._chain_of.get(name)

    @cached_property
    def _chain_of(self) -> dict[str, Chain]:
        found: dict[str, Chain] = {}
        for chain in reversed(self.chains):
            spec = chain.spec
            own = (chain.start, chain.end, chain.end_relay, chain.back, spec.zone, spec.co_zone or "")
            names = (*own, *self.list_ends(chain), *(d.name for d in chain.detectors))
            found |= dict.fromkeys((name for name in names if name), chain)
        return found

    def list_ends(self, chain: Chain) -> tuple[str, ...]:
        """Return the places of the end resistors of one loop: one, or one for each of its contact pairs."""
        return tuple(p for p in self.end_resistors if p == chain.end or p.startswith(f"{chain.end}_"))

    @cached_property
    def terminals(self) -> tuple[str, ...]:
        """Return every terminal, sorted by first appearance."""
        return tuple(dict.fromkeys(t for element in self.elements for t in (element.a, element.b)))

    @cached_property
    def graph(self) -> "nx.MultiGraph[str]":
        """Return the view as a graph: nodes are terminals and joints, edges (keyed by name) are elements."""
        graph: nx.MultiGraph[str] = nx.MultiGraph()
        graph.add_nodes_from(self.terminals)
        for e in self.elements:
            graph.add_edge(e.a, e.b, key=e.name, element=e)
        return graph

    @cached_property
    def signals(self) -> tuple[str, ...]:
        """Return the names of all discrete states, sorted."""
        names = {gate.signal for element in self.elements for gate in element.gates}
        for detector in self.detectors:
            names |= {f"{detector.name}.{s}" for s in ("smoke", "head_off", "dead", "latched")}
        names |= {f"{relay.name}.operated" for relay in self.relays}
        names |= {f"{zone.name}.{s}" for zone in self.zones for s in ZONE_SIGNALS}
        if self.module is not None:
            names |= {f"module.{s}" for s in ("trouble", "fire", "co", "dead", "lifted")}
        return tuple(
            sorted(names | {"panel.reset", "panel.down", "panel.exchanged", "panel.short_reset", "panel.on_battery"})
        )

    def find_detector(self, name: str) -> Detector | None:
        """Return the detector of this name, or None."""
        return self._detector_of.get(name)

    @cached_property
    def _detector_of(self) -> dict[str, Detector]:
        return {d.name: d for d in self.detectors}

    def find_cut_off(self, removed: Iterable[str], source: str) -> frozenset[str]:
        """Return the terminals that no metal joins to ``source`` in standby once the named elements are taken out."""
        gone = set(removed)
        graph: nx.MultiGraph[str] = nx.MultiGraph(self.graph)
        for e in self.elements:
            if e.name in gone or not _is_metal(e):
                graph.remove_edge(e.a, e.b, key=e.name)
        parts = (frozenset(part) for part in nx.connected_components(graph))
        joined = next(part for part in parts if source in part)
        return frozenset(graph.nodes) - joined


def _is_metal(element: Element) -> bool:
    """Return whether it joins its ends in standby: contacts that close only in alarm or while operated do not."""
    waits = any(gate.when and not gate.signal.startswith("endrelay") for gate in element.gates)
    return element.kind in {"conductor", "joint", "contact", "one_way"} and not waits


def apply_edits(loop: Loop, edits: Edits) -> Loop:
    """Return the loop with the edits of a fault made, one after the other.

    A terminal that an edit brings has the insulation leak of all the others.

    Raises
    ------
    KeyError
        An edit names an element that is not there.
    """
    elements = dict(loop.by_name)
    holds = set(loop.holds)
    for edit in edits:
        match edit:
            case SetResistance(element, resistance_ohm):
                elements[element] = replace(elements[element], resistance_ohm=resistance_ohm)
            case Remove(element):
                del elements[element]
            case Add(element):
                elements[element.name] = element
            case Move(element, "a", terminal):
                elements[element] = replace(elements[element], a=terminal)
            case Move(element, _, terminal):
                elements[element] = replace(elements[element], b=terminal)
            case Hold(signal, value):
                holds.discard((signal, not value))
                holds.add((signal, value))
    return replace(loop, elements=_with_leaks(elements.values()), holds=frozenset(holds))


def _with_leaks(elements: Iterable[Element]) -> tuple[Element, ...]:
    """Give each terminal that has none the same leak to earth as the first: nothing may float."""
    found = tuple(elements)
    leaks = [e for e in found if e.kind is Kind.LEAK]
    bare = dict.fromkeys(t for e in found for t in (e.a, e.b)).keys() - {EARTH, *(e.a for e in leaks)}
    fresh = (replace(leaks[0], name=f"leak.{t}", a=t) for t in sorted(bare)) if leaks else ()
    return (*found, *fresh)
