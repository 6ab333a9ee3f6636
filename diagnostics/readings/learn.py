"""An unlisted panel, or the loop of a module, learnt from a few readings on its own terminals.

A zone is a source of some volts behind some ohms (Thévenin's theorem, any textbook of circuits). Its open volts and its
volts with one known resistor give both; every further resistor checks that it is one, as a limited or switching source
is not. What the panel shows with each resistor brackets its windows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import chi2

from diagnostics.errors import QuantityError

from .data import Meter
from .meter import find_sd

Array = NDArray[np.float64]
RESISTOR_SHARE = 0.005  # one sd of a known resistor of 1 %
LEAST_FIT = 0.001  # a worse fit than this share of sound readings would have is no plain source
STATES = ("normal", "trouble", "alarm")


@dataclass(frozen=True, slots=True)
class Loaded:
    """Volts across a pair with a known resistor (ohm) on it, field wires lifted; ``math.inf`` with nothing on it.

    ``shows`` is what the panel then says of that zone, after its full delay, or an empty text.
    """

    resistance_ohm: float
    volts: float
    shows: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """Between which volts a window begins: the panel said ``below`` at ``low_v`` and ``above`` at ``high_v``."""

    below: str
    above: str
    low_v: float
    high_v: float


@dataclass(frozen=True, slots=True)
class LearntSource:
    """Volts and ohms of a source with one sd of each, how well the readings fit one, and the edges that were bracketed.

    ``fit`` is the chance of readings at least as far off from any plain source, or None where two readings leave
    nothing to check.
    """

    zone_v: float
    zone_v_sd: float
    zone_ohm: float
    zone_ohm_sd: float
    fit: float | None
    edges: tuple[Edge, ...]

    @property
    def is_plain(self) -> bool:
        """Return whether the readings are those of volts behind ohms, as far as they were checked."""
        return self.fit is None or self.fit >= LEAST_FIT


def learn_source(readings: Sequence[Loaded], meter: Meter) -> LearntSource:
    """Return the source behind some readings: volts (V), ohms (Ω), their spread, and its windows.

    Raises
    ------
    QuantityError
        Fewer than two different loads, or none that pulls the volts down.
    """
    ohm, volts = (np.array([getattr(r, name) for r in readings]) for name in ("resistance_ohm", "volts"))
    if len({float(o) for o in ohm}) < 2:
        hint = "give the open volts, and the volts with one known resistor"
        raise QuantityError("two different loads are wanted", text=str(len(readings)), hint=hint)
    start = _start(ohm, volts)
    load_s = 1.0 / (1.0 / (1.0 / ohm + 1.0 / meter.input_ohm))  # the meter hangs on the pair as well
    found = least_squares(partial(_miss, load_s=load_s, volts=volts, meter=meter), start, x_scale=np.abs(start))
    slopes = np.asarray(found.jac, dtype=np.float64)
    covariance = np.linalg.inv(slopes.T @ slopes)
    spare = len(readings) - 2
    fit = float(chi2.sf(float((found.fun**2).sum()), spare)) if spare else None
    emf_v, source_ohm = (float(v) for v in found.x)
    sd = np.sqrt(np.diag(covariance))
    return LearntSource(emf_v, float(sd[0]), source_ohm, float(sd[1]), fit, _list_edges(readings))


def _start(ohm: Array, volts: Array) -> Array:
    high, low = int(np.argmax(ohm)), int(np.argmin(ohm))
    amps = volts / ohm
    if not volts[high] > volts[low] > 0 or amps[low] <= amps[high]:
        message = "the volts do not fall with a smaller resistor: this is no source that can be learnt so"
        raise QuantityError(message, text=f"{volts[low]:g} V", hint="check the readings, and that the wires are lifted")
    source_ohm = (volts[high] - volts[low]) / (amps[low] - amps[high])
    return np.array([volts[high] + amps[high] * source_ohm, source_ohm])


def _miss(x: Array, load_s: Array, volts: Array, meter: Meter) -> Array:
    """Return how many sd each reading is off, from meter and resistor together."""
    divided = 1.0 / (1.0 + x[1] * load_s)
    expected = x[0] * divided
    by_resistor = expected * (1 - divided) * RESISTOR_SHARE
    off: Array = (volts - expected) / np.hypot(find_sd(volts, "V", meter), by_resistor)
    return off


def _list_edges(readings: Sequence[Loaded]) -> tuple[Edge, ...]:
    told = sorted((r for r in readings if r.shows), key=lambda r: r.volts)
    pairs = pairwise(told)
    return tuple(Edge(a.shows, b.shows, a.volts, b.volts) for a, b in pairs if a.shows != b.shows)


def write_panel(source: LearntSource) -> dict[str, str]:
    """Return the values of a panel's part that were learnt, as a site file takes them; ± is twice one sd."""
    found = {
        "zone_v": f"{source.zone_v:.4g} V ± {2 * source.zone_v_sd:.2g} V",
        "zone_ohm": f"{source.zone_ohm:.4g} Ω ± {2 * source.zone_ohm_sd:.2g} Ω",
    }
    names = {("alarm", "trouble"): "alarm_below_v", ("alarm", "normal"): "normal_from_v"}
    names |= {("trouble", "normal"): "normal_from_v", ("normal", "trouble"): "open_from_v"}
    for edge in source.edges:
        name = names.get((edge.below, edge.above))
        if name is not None:
            found[name] = f"{(edge.low_v + edge.high_v) / 2:.3g} V"
    return found
