"""The bench on which a loop is wired, element by element."""

from dataclasses import dataclass, field

from diagnostics.units import copper_resistance_ohm_per_m, parse_gauge

from .elements import Curve, Detector, Element, Gate, How, Kind, Module, Relay, Spread
from .parts import Part, build_part
from .site import CableSpec

FED = Gate("panel.down", when=False)
MAINS = Gate("panel.on_battery", when=False)
ON_BATTERY = Gate("panel.on_battery", when=True)
RUNS = Gate("panel.runs", when=True)
_TEMPERATURE_COEFFICIENT = 0.00393
_HOW = {"zone_source": How.RESISTANCE}
Ends = tuple[str, str]


@dataclass
class WiringBench:
    """What has been wired so far; only the builders of this package write on it.

    ``first`` is the number of detectors before the loop that is being wired, ``end`` and ``end_relay`` the names of its
    far end and of a supervision relay there. ``pairs`` are the runs of cable by place, ``end_resistors`` the names of
    end resistors by place, ``points`` the pairs of terminals on which a meter fits.
    """

    panel: Part
    elements: list[Element] = field(default_factory=list)
    detectors: list[Detector] = field(default_factory=list)
    relays: list[Relay] = field(default_factory=list)
    pairs: dict[str, Ends] = field(default_factory=dict)
    end_resistors: dict[str, str] = field(default_factory=dict)
    points: list[Ends] = field(default_factory=list)
    module: Module | None = None
    first: int = 0
    end: str = "end"
    end_relay: str = "endrelay"

    def begin_chain(self, number: int) -> None:
        """Begin the loop of this number: detectors are numbered on, far ends and supervision relays have its number."""
        mark = str(number + 1) if number else ""
        self.first, self.end, self.end_relay = len(self.detectors), f"end{mark}", f"endrelay{mark}"

    @property
    def unknowns(self) -> tuple[str, ...]:
        """Return the shared unknowns that move anything here, in the order in which they came."""
        return tuple(dict.fromkeys(spread.unknown for element in self.elements for spread in element.spreads))

    def joint(self, name: str, a: str, b: str, *gates: Gate) -> None:
        """Wire a sound joint."""
        self.elements.append(Element(name, Kind.JOINT, a, b, self.panel.number("joint_ohm"), gates=gates))

    def contact(self, name: str, ends: Ends, resistance_ohm: float, *gates: Gate) -> None:
        """Wire a contact that conducts while its gates hold."""
        self.elements.append(Element(name, Kind.CONTACT, *ends, resistance_ohm, gates=gates))

    def resistor(self, name: str, ends: Ends, resistance_ohm: float, *gates: Gate) -> None:
        """Wire a resistor without spread."""
        self.elements.append(Element(name, Kind.RESISTOR, *ends, resistance_ohm, gates=gates))

    def source(
        self, name: str, ends: Ends, feed: tuple[float, float, float], spreads: dict[str, float], *gates: Gate
    ) -> None:
        """Wire a Thevenin source, (plus, minus): ``feed`` is (volts, ohms, limit in amperes)."""
        emf_v, ohm, limit_a = feed
        curve = Curve(((emf_v - limit_a * ohm, -limit_a),), 0.0, 1.0 / ohm)
        told = tuple(Spread(u, _HOW.get(u, How.EMF), share, (1,)) for u, share in spreads.items())
        self.elements.append(
            Element(name, Kind.SOURCE, *ends, curve=curve, gates=gates, spreads=told, emf_v=emf_v, home=1)
        )

    def run(self, place: str, near: Ends, far: Ends, cable: CableSpec, length_m: float) -> None:
        """Wire a run of a pair from near to far terminals; each core is named after the terminal it arrives at.

        Where no landing of the pair can be lifted already, its near end can be taken off: at a detector while that is
        *opened*, at a supply while what arrives there is *unfed*.
        """
        part = build_part("cable_pair", cable.values)
        gauge = parse_gauge(cable.gauge)
        resistance_ohm = length_m * copper_resistance_ohm_per_m(gauge.area_mm2, part.number("temperature_c"))
        warmth = _TEMPERATURE_COEFFICIENT * part.number("temperature_spread_c")
        spreads = (
            Spread("cable_length", How.RESISTANCE, part.number("length_spread") / 100),
            Spread("temperature", How.RESISTANCE, warmth),
            Spread("joints", How.ADDED, part.number("joints_ohm") / resistance_ohm),
        )
        start = near[0].partition(".")[0]
        signals = [f"{start}.opened"] if start.startswith("det") else [f"{place}.unfed"] if start != "field" else []
        gates = tuple(Gate(signal, when=False) for signal in signals)
        for a, b in zip(near, far, strict=True):
            self.elements.append(Element(f"wire.{b}", Kind.CONDUCTOR, a, b, resistance_ohm, None, gates, spreads))
        self.pairs[place] = (f"wire.{far[0]}", f"wire.{far[1]}")

    def end_resistor(self, place: str, name: str, ends: Ends, resistance_ohm: float, spread_percent: float) -> None:
        """Wire an end resistor, the thing most often wrong."""
        told = (Spread("end_resistor", How.RESISTANCE, spread_percent / 100),)
        self.elements.append(Element(name, Kind.RESISTOR, *ends, resistance_ohm, spreads=told))
        self.end_resistors[place] = name
