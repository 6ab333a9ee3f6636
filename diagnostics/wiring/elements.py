"""Elements of an installed loop: what joins two terminals, and when it conducts."""

from dataclasses import dataclass
from enum import StrEnum

EARTH = "earth"


class Kind(StrEnum):
    """What an element is, in the installer's words."""

    CONDUCTOR = "conductor"
    JOINT = "joint"
    RESISTOR = "resistor"
    CONTACT = "contact"
    SOURCE = "source"
    LOAD = "load"
    ONE_WAY = "one_way"
    LEAK = "leak"


@dataclass(frozen=True, slots=True)
class Curve:
    """A continuous, non-decreasing, piecewise-linear current (A) over voltage (V).

    ``points`` are (volts, amperes), rising in volts; ``before_s`` and ``after_s`` are the slopes (siemens) of the
    two outer segments. One operating point exists for any circuit of such elements (design page, section 3).
    """

    points: tuple[tuple[float, float], ...]
    before_s: float = 0.0
    after_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a curve that falls or doubles back: it could have no operating point at all."""
        volts = [v for v, _ in self.points]
        amps = [i for _, i in self.points]
        if not self.points or sorted(set(volts)) != volts or sorted(amps) != amps:
            raise ValueError(f"a curve must rise in volts and never fall in amperes: {self.points}")
        if min(self.before_s, self.after_s) < 0:
            raise ValueError("a curve's outer slopes must not be negative")

    @property
    def corners_v(self) -> tuple[float, ...]:
        """Return the volts at which the slope changes; segment ``n`` lies before corner ``n``."""
        return tuple(v for v, _ in self.points)

    @property
    def segments(self) -> tuple[tuple[float, float], ...]:
        """Return (slope in siemens, current at zero volts in amperes) of each segment, from left to right."""
        pairs = zip(self.points, self.points[1:], strict=False)
        inner = [(i2 - i1) / (v2 - v1) for (v1, i1), (v2, i2) in pairs]
        slopes = (self.before_s, *inner, self.after_s)
        anchors = (self.points[0], *self.points)
        return tuple((g, i - g * v) for g, (v, i) in zip(slopes, anchors, strict=True))

    def current_a(self, voltage_v: float) -> float:
        """Return the current (A) at a voltage (V)."""
        n = sum(voltage_v > v for v in self.corners_v)
        slope, offset = self.segments[n]
        return slope * voltage_v + offset


@dataclass(frozen=True, slots=True)
class Gate:
    """An element conducts only while ``signal`` is ``when``."""

    signal: str
    when: bool


class How(StrEnum):
    """What a shared unknown moves in an element; what it adds to a resistance is as large however long the wire."""

    RESISTANCE = "resistance"
    ADDED = "added"
    CURRENT = "current"
    EMF = "emf"


@dataclass(frozen=True, slots=True)
class Spread:
    """One standard deviation of a shared unknown moves this element by ``share`` (a fraction, not percent).

    With ``segments`` it counts only while a curve works in one of these segments.
    """

    unknown: str
    how: How
    share: float
    segments: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Element:
    """One thing between terminals ``a`` and ``b``: a resistance (ohm) or a curve, never both.

    ``gates`` must all hold for it to conduct. ``emf_v`` is only told for sources, so that a spread of the supply can
    be carried through. ``home`` is the segment in which a curve usually works, the first guess of the solver.
    """

    name: str
    kind: Kind
    a: str
    b: str
    resistance_ohm: float | None = None
    curve: Curve | None = None
    gates: tuple[Gate, ...] = ()
    spreads: tuple[Spread, ...] = ()
    emf_v: float = 0.0
    home: int = 0

    def __post_init__(self) -> None:
        """Refuse an element that is both or neither, or has a resistance that is not positive."""
        if (self.resistance_ohm is None) == (self.curve is None):
            raise ValueError(f"{self.name}: give a resistance or a curve, not both")
        if self.resistance_ohm is not None and not self.resistance_ohm > 0:
            raise ValueError(f"{self.name}: resistance must be positive, not {self.resistance_ohm}")

    def __hash__(self) -> int:
        """Return a hash of what nearly always tells elements apart; that of all fields would be made anew each time."""
        return hash((self.name, self.a, self.b))


@dataclass(frozen=True, slots=True)
class Detector:
    """What the engine must know of one detector beside its elements; volts are across ``plus`` and ``minus``.

    It is powered from ``powered_v`` up, latches when smoke or gas reaches it while powered, and lets go below
    ``release_v``. ``either_way`` is true for detectors that work with the wires exchanged. A dry contact
    (``is_contact``) needs no supply: it closes with heat, or a hand, and opens again without; it has no lamp, and no
    head to take off. ``on_spur``: it hangs on a T-tap, where nothing supervises its run.
    """

    name: str
    label: str
    plus: str
    minus: str
    powered_v: float
    release_v: float
    either_way: bool
    senses: str
    lamp: str
    is_contact: bool = False
    on_spur: bool = False

    @property
    def shows_power(self) -> bool:
        """Return whether its lamp tells in standby that it is powered."""
        return self.lamp in {"blinks", "lit"}


@dataclass(frozen=True, slots=True)
class Relay:
    """A relay: coil terminals, pull-in and drop-out volts; its contact elements are gated by ``<name>.operated``.

    ``either_way`` is true for a plain coil, which pulls in with its leads exchanged too.
    """

    name: str
    plus: str
    minus: str
    pull_in_v: float
    drop_out_v: float
    either_way: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """Volts from ``low_v`` up to ``high_v`` mean ``name`` (open, normal, …) and show as ``state``."""

    name: str
    low_v: float
    high_v: float
    state: str


@dataclass(frozen=True, slots=True)
class Zone:
    """A panel zone: its terminals, what it is for, and what each voltage means to it.

    Where the loop ``comes_back`` (class A), an open closes a link to the return terminals until the next reset: from
    then on the loop is fed from both ends, and the zone shows trouble.
    """

    name: str
    plus: str
    minus: str
    senses: str
    bands: tuple[Band, ...]
    comes_back: bool = False

    def find_band(self, voltage_v: float) -> Band:
        """Return the band in which a voltage (V) lies; the outer bands reach to infinity."""
        for band in self.bands:
            if voltage_v < band.high_v:
                return band
        return self.bands[-1]


@dataclass(frozen=True, slots=True)
class Battery:
    """How the panel watches its battery (volts across ``plus`` and ``minus``).

    It reports a battery trouble below ``low_v`` while the battery carries the panel (it tries that by itself now and
    then), or below ``charged_from_v`` on mains. Below ``runs_from_v`` the panel itself stops.
    """

    plus: str
    minus: str
    low_v: float
    charged_from_v: float
    runs_from_v: float


@dataclass(frozen=True, slots=True)
class EarthWatch:
    """How the panel watches for earth faults: when all is well ``plus`` and ``minus`` lie equally far from earth.

    It reports an earth trouble when earth lies more than ``off_v`` away from the middle between the two.
    """

    plus: str
    minus: str
    off_v: float


@dataclass(frozen=True, slots=True)
class Channel:
    """One pair that a module watches; ``label`` is what an alarm on it is, or empty where the detector tells."""

    name: str
    plus: str
    minus: str
    bands: tuple[Band, ...]
    label: str


@dataclass(frozen=True, slots=True)
class Module:
    """An interface module: powered while its relay of the same name is operated.

    Its state table: not powered, both outputs open; trouble on any channel, both open; an alarm closes the output of
    its label (of the latched detectors on a two-wire loop, fire where none is latched).
    """

    name: str
    channels: tuple[Channel, ...]
