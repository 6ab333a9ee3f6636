"""What a row of the two tables of responses is, and how the program is asked about it."""

from dataclasses import dataclass
from functools import cache

from diagnostics.circuit import parse_mode
from diagnostics.faults import parse_faults
from diagnostics.readings import Prediction, predict_mode
from tests.wiring.benches import FOUR_WIRE, MODULE_FOUR_WIRE, MODULE_TWO_WIRE, Bench, wire_bench

M, N, F = Bench(MODULE_TWO_WIRE), Bench(MODULE_FOUR_WIRE), Bench(FOUR_WIRE)
UNSUPERVISED_F, UNSUPERVISED_N = Bench(FOUR_WIRE, end_relay=False), Bench(MODULE_FOUR_WIRE, end_relay=False)
NORMAL, TROUBLE = "normal normal", "trouble trouble"
FIRE, CO = ("panel.zone1+", "panel.zone1-"), ("panel.zone2+", "panel.zone2-")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: where it is written, bench, fault and mode; what the panel shows, zone by zone, and who is dark.

    ``dark`` is ``none``, ``all``, names, or ``?`` where the table does not say.
    """

    source: str
    bench: Bench
    fault: str
    panel: str
    dark: str = "?"
    mode: str = "standby"

    @property
    def title(self) -> str:
        """Return a name for the report of a test."""
        supervised = "" if self.bench.end_relay else ", unsupervised"
        return f"{self.source}-{self.bench.style}, {self.bench.reset}{supervised}-{self.fault}-{self.mode}"

    @property
    def zones(self) -> dict[str, str]:
        """Return what each zone shows."""
        return dict(zip(("zone1", "zone2"), self.panel.split(), strict=False))

    def find_dark(self) -> frozenset[str] | None:
        """Return who is dark, or None where it is not said."""
        if self.dark == "?":
            return None
        return self.bench.all if self.dark == "all" else frozenset(self.dark.split()) - {"none"}


@cache
def predict(bench: Bench, fault: str, mode: str = "standby") -> Prediction:
    """Ask the program."""
    loop = wire_bench(bench)
    return predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop))


def find_dark(prediction: Prediction) -> frozenset[str]:
    """Return the detectors that are dark."""
    return frozenset(name for name, state in prediction.states.items() if state == "dark")


def find_shown(prediction: Prediction, red: str, black: str) -> float:
    """Return what the meter shows between two terminals: ohms where the mode allows them, volts otherwise.

    The meter is in the circuit: without it a terminal that nothing feeds may stand at ghost volts.
    """
    readings = [r for r in prediction.readings if (r.measurement.red, r.measurement.black) == (red, black)]
    found = [r for r in readings if r.measurement.kind == "ohms"] or readings
    return found[0].value


def check_row(expected: Row) -> None:
    """Hold a row against the prediction."""
    found = predict(expected.bench, expected.fault, expected.mode)
    assert found.panel == expected.zones
    dark = expected.find_dark()
    assert dark is None or find_dark(found) == dark
    assert found.chatter == ()
