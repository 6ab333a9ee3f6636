"""Hypotheses forecast together read as each would alone: twins share a circuit, and some are a batch of their own."""

import numpy as np
import pytest

from diagnostics.faults import parse_faults
from diagnostics.readings import Bench, Forecast, list_measurements
from tests.wiring.quick import wire_quick

LOOP = wire_quick("four_wire_zone", 4)
TEXTS = [
    "", "spur@det2", "dust_cover@det3", "pairs_crossed@det3", "sensor_failed@det3", "conductor_open@det2.in+",
    "spur@det3", "end_of_life@det1", "leak=1k@det2.in_contact", "spur@det3,head_off@det2", "looped_uncut@det2",
]  # fmt: skip
SOME = [m for m in list_measurements(LOOP) if m.place in {"panel", "det2", "det3"}]


def tell(forecast: Forecast, row: int) -> dict[str, float]:
    if forecast.chance is not None:
        return {t: float(c) for t, c in zip(forecast.tokens, forecast.chance[row], strict=True) if t != "other"}
    assert forecast.mean is not None
    return {"mean": float(forecast.mean[row]), "spread": float(forecast.spread[row])}


@pytest.mark.parametrize("number", range(len(TEXTS)), ids=[text or "healthy" for text in TEXTS])
def test_forecast_among_others_is_that_of_a_hypothesis_alone(number: int) -> None:
    faults = [parse_faults(text, LOOP) for text in TEXTS]
    together = Bench(LOOP, faults).narrow(np.array([9, number, 0, 4])).forecast_all(SOME)
    alone = Bench(LOOP, [faults[number]]).forecast_all(SOME)
    for m, one, other in zip(SOME, together, alone, strict=True):
        found, wanted = tell(one, 1), tell(other, 0)
        differ = {k: (found.get(k, 0.0), v) for k, v in wanted.items() if v > 0.05}
        assert all(a == pytest.approx(b, rel=1e-6, abs=2e-2) for a, b in differ.values()), (m.key, differ)


def test_twins_differ_by_eye_alone() -> None:
    bench = Bench(LOOP, [parse_faults(text, LOOP) for text in ("dust_cover@det3", "sensor_failed@det3")])
    for m, forecast in zip(SOME, bench.forecast_all(SOME), strict=True):
        assert (tell(forecast, 0) == tell(forecast, 1)) == (m.kind != "look" or m.at != "det3"), m.key
