"""What every measurement would give under every hypothesis: circuit and faults in, values with spread out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import (
    MeterInput,
    Settled,
    apply_steps,
    build_network,
    build_steps,
    read_meter,
    settle_from_rest,
    to_ohms,
)
from diagnostics.faults import Fault, build_all_edits
from diagnostics.wiring import Loop

from .data import Meter, read_table
from .measurement import Measurement
from .states import blur, find_dark_sets, find_lamp_chances, find_sight_chances, find_test_chances, find_zone_chances

Array = NDArray[np.float64]
Faults = tuple[Fault, ...]

MOST_COLUMNS = 1024


@dataclass(frozen=True, slots=True)
class Forecast:
    """One measurement over all hypotheses.

    Numbers: ``mean`` (hypothesis,) in V or Ω, and ``slopes`` (unknown and own value, hypothesis), the same unit per
    standard deviation of each shared unknown. Words: ``tokens`` and ``chance`` (hypothesis, token), rows sum to 1.
    """

    measurement: Measurement
    mean: Array | None = None
    slopes: Array | None = None
    tokens: tuple[str, ...] = ()
    chance: Array | None = None

    def take(self, some: NDArray[np.intp]) -> "Forecast":
        """Return the forecast of some hypotheses, by number."""
        if self.chance is not None:
            return Forecast(self.measurement, tokens=self.tokens, chance=self.chance[some])
        if self.mean is None or self.slopes is None:
            raise TypeError("a forecast has either numbers or words")
        return Forecast(self.measurement, mean=self.mean[some], slopes=self.slopes[:, some])

    @property
    def spread(self) -> Array:
        """Return one standard deviation (V or Ω) from all unknowns together, without the meter, (hypothesis,)."""
        if self.slopes is None:
            raise TypeError(f"{self.measurement.kind} gives a word, not a number")
        size: Array = np.sqrt((self.slopes**2).sum(axis=0))
        return size


class Bench:
    """All hypotheses wired up and settled once; every forecast starts from there, and is made once.

    ``narrow`` gives a bench with some of the hypotheses, for questions that concern only those.
    """

    def __init__(self, loop: Loop, hypotheses: Sequence[Faults], meter: Meter | None = None) -> None:
        """Wire up and settle; raises PhysicsError where a hypothesis does not fit the loop."""
        self.loop = loop
        self.hypotheses = tuple(hypotheses)
        self.meter = meter or read_table().meter
        self.standby = settle_from_rest(build_network(loop, [build_all_edits(loop, h) for h in hypotheses]))
        self._made: dict[str, Forecast] = {}

    def narrow(self, some: NDArray[np.intp]) -> "Bench":
        """Return a bench with some of the hypotheses, by number, and what is already forecast for them."""
        other = Bench.__new__(Bench)
        other.loop, other.meter = self.loop, self.meter
        other.hypotheses = tuple(self.hypotheses[n] for n in some)
        other.standby = self.standby.take(some)
        other._made = {key: forecast.take(some) for key, forecast in self._made.items()}  # noqa: SLF001 - its own kind
        return other

    def forecast_all(self, measurements: Sequence[Measurement]) -> tuple[Forecast, ...]:
        """Return a forecast of each measurement, in their order."""
        groups: dict[tuple[str, str], list[Measurement]] = {}
        for m in measurements:
            if m.key not in self._made:
                groups.setdefault((m.kind, "" if m.mode.detector else m.mode.text), []).append(m)
        for some in groups.values():
            self._made |= {m.key: f for m, f in zip(some, self._forecast(some), strict=True)}
        return tuple(self._made[m.key] for m in measurements)

    def _forecast(self, some: list[Measurement]) -> list[Forecast]:
        """Return forecasts of measurements of one kind, and of one mode if that mode has no detector."""
        match some[0].kind:
            case "volts" | "ohms":
                return self._numbers(some)
            case "look" | "settings":
                return [self._tokens(m, find_sight_chances(self.loop, m, self.hypotheses)) for m in some]
            case "lamp":
                return [self._tokens(m, find_lamp_chances(self.standby, m.at)) for m in some]
            case "which_dark":
                return [self._tokens(m, find_dark_sets(self.standby, "")) for m in some]
            case "panel_shows" | "known_resistor":
                settled = apply_steps(self.standby, build_steps(some[0].mode, self.loop.zones[0].name))
                return [self._tokens(m, find_zone_chances(settled)) for m in some]
            case _:
                return self._at_detectors(some)

    def _tokens(self, m: Measurement, chances: tuple[tuple[str, ...], Array]) -> Forecast:
        tokens, chance = chances
        return Forecast(m, tokens=tokens, chance=blur(chance, m.data.misread))

    def _numbers(self, some: list[Measurement]) -> list[Forecast]:
        settled = apply_steps(self.standby, build_steps(some[0].mode, self.loop.zones[0].name))
        meter = build_meter_input(some[0], self.meter)
        shown = read_meter(settled, [find_leads(m, self.loop) for m in some], meter)
        shown = to_ohms(shown, meter) if some[0].kind == "ohms" else shown
        return [Forecast(m, mean=shown.volts[n], slopes=shown.slopes[:, n]) for n, m in enumerate(some)]

    def _at_detectors(self, some: list[Measurement]) -> list[Forecast]:
        """Functional tests and heads off: every hypothesis at every detector, in pieces."""
        count = len(self.hypotheses)
        size = max(1, MOST_COLUMNS // count)
        found: list[Forecast] = []
        for low in range(0, len(some), size):
            piece = some[low : low + size]
            wide = self.standby.take(np.tile(np.arange(count), len(piece)))
            settled = self._act(wide, piece, count)
            for n, m in enumerate(piece):
                own = [s.take(np.arange(n * count, (n + 1) * count)) for s in settled]
                found.append(self._tokens(m, self._read_states(m, own)))
        return found

    def _act(self, wide: Settled, piece: list[Measurement], count: int) -> list[Settled]:
        which = np.repeat([m.at for m in piece], count)
        names = sorted({m.at for m in piece})
        if piece[0].kind != "functional_test":
            return [
                wide,
                apply_steps(wide, [{f"{n}.head_off": self._hold_or(wide, f"{n}.head_off", which == n) for n in names}]),
            ]
        smoke = {f"{n}.smoke": which == n for n in names}
        alarmed = apply_steps(wide, [smoke])
        clean = {name: np.zeros_like(mask) for name, mask in smoke.items()}
        after = apply_steps(alarmed, [clean, {"panel.reset": True}, {"panel.reset": False}])
        return [wide, alarmed, after]

    @staticmethod
    def _hold_or(settled: Settled, signal: str, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
        either: NDArray[np.bool_] = settled.signal(signal) | mask
        return either

    def _read_states(self, m: Measurement, settled: list[Settled]) -> tuple[tuple[str, ...], Array]:
        if m.kind == "functional_test":
            return find_test_chances(settled[0], settled[1], settled[2])
        if m.kind == "head_off":
            return find_zone_chances(settled[1])
        return find_dark_sets(settled[1], m.at)


def find_leads(m: Measurement, loop: Loop) -> tuple[str, str]:
    """Return the terminals that the leads touch: ohms of a lifted pair are taken on the wires, not on the screws."""
    if m.kind != "ohms":
        return m.red, m.black
    zone = loop.zones[0]
    onto = {zone.plus: f"field.{zone.name}+", zone.minus: f"field.{zone.name}-"}
    return onto.get(m.red, m.red), onto.get(m.black, m.black)


def build_meter_input(m: Measurement, meter: Meter) -> MeterInput:
    """Return the meter as the circuit sees it."""
    if m.kind == "ohms":
        return MeterInput(meter.ohms_source_ohm, meter.ohms_test_v)
    return MeterInput(meter.input_ohm)
