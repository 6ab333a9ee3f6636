"""What one measurement would give under every hypothesis: values with spread, or words with chances."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import MeterInput
from diagnostics.wiring import Loop

from .data import Meter
from .measurement import Measurement

Array = NDArray[np.float64]

# Beside the shared unknowns of the loop: what the meter is off by on volts and on ohms, and last the fault's own value.
METER_ROWS = (-3, -2)


@dataclass(frozen=True, slots=True)
class Forecast:
    """One measurement over all hypotheses.

    Numbers: ``mean`` (hypothesis,) in V or Ω, and ``slopes`` (unknown, hypothesis), the same unit per standard
    deviation of each unknown (``Bench.count_unknowns``). Words: ``tokens`` and ``chance`` (hypothesis, token), rows sum
    to 1.
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
        """Return one standard deviation (V or Ω) from all unknowns together, (hypothesis,).

        What a meter's error adds anew with every reading is not in it.
        """
        if self.slopes is None:
            raise TypeError(f"{self.measurement.kind} gives a word, not a number")
        size: Array = np.sqrt((self.slopes**2).sum(axis=0))
        return size

    @property
    def loop_spread(self) -> Array:
        """Return one standard deviation (V or Ω) of the loop itself, whatever meter there is, (hypothesis,)."""
        if self.slopes is None:
            raise TypeError(f"{self.measurement.kind} gives a word, not a number")
        kept = np.delete(self.slopes, METER_ROWS, axis=0)
        size: Array = np.sqrt((kept**2).sum(axis=0))
        return size


def find_leads(m: Measurement, loop: Loop) -> tuple[str, str]:
    """Return the terminals that the leads touch: ohms of a lifted pair are taken on the wires, not on the screws."""
    if m.kind != "ohms":
        return m.red, m.black
    channels = loop.module.channels if loop.module else ()
    watched = [(p.name, p.plus, p.minus) for p in loop.zones] + [(p.name, p.plus, p.minus) for p in channels]
    onto = {t: f"field.{name}{t[-1]}" for name, *ends in watched for t in ends}
    onto |= {f"panel.{c.back}{side}": f"{c.back}.in{side}" for c in loop.chains if c.back for side in "+-"}
    return onto.get(m.red, m.red), onto.get(m.black, m.black)


def build_meter_input(m: Measurement, meter: Meter) -> MeterInput:
    """Return the meter as the circuit sees it."""
    if m.kind == "ohms":
        return MeterInput(meter.ohms_source_ohm, meter.ohms_test_v)
    return MeterInput(meter.input_ohm)
