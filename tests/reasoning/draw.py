"""Invented readings of a hypothesis: shared unknowns and the meter's error drawn at random, by seed."""

import math
from collections.abc import Iterable
from functools import cache

import numpy as np

from diagnostics.faults import parse_faults
from diagnostics.readings import Bench, Forecast, Measurement, find_own_sd, list_measurements, show_value
from diagnostics.readings.meter import Unit
from diagnostics.reasoning import Diagnosis, Question, Taken, diagnose
from diagnostics.visit import build_bench
from tests.wiring.quick import build_quick


@cache
def prepare_bench(style: str, detectors: int) -> Bench:
    """Return a bench on which everything is forecast, so that each question after it is quick."""
    bench = build_bench(build_quick(style, detectors))
    bench.forecast_all(list_measurements(bench.loop))
    return bench


def find_number(bench: Bench, text: str) -> int:
    """Return the number of a hypothesis by its text; an empty text is *healthy*."""
    return bench.hypotheses.index(parse_faults(text, bench.loop))


def find_measurement(bench: Bench, key: str) -> Measurement:
    """Return a measurement by its key."""
    return next(m for m in list_measurements(bench.loop) if m.key == key)


def forecast(bench: Bench, measurement: Measurement) -> Forecast:
    """Return one forecast."""
    return bench.forecast_all([measurement])[0]


def read_middle(bench: Bench, measurement: Measurement, number: int) -> float | str:
    """Return what a hypothesis would show with every unknown at its middle, as the meter shows it."""
    return _read(bench, measurement, number, np.zeros(bench.count_unknowns), None)


def draw_readings(bench: Bench, number: int, measurements: Iterable[Measurement], seed: int) -> list[Taken]:
    """Return readings of one hypothesis: one draw of the unknowns for all, and for each what its meter adds anew."""
    rng = np.random.default_rng(seed)
    unknowns = rng.normal(size=bench.count_unknowns)
    return [Taken(m, _read(bench, m, number, unknowns, rng)) for m in measurements]


def _read(
    bench: Bench, m: Measurement, number: int, unknowns: np.ndarray[tuple[int], np.dtype[np.float64]],
    rng: np.random.Generator | None,
) -> float | str:  # fmt: skip
    told = forecast(bench, m)
    if told.chance is not None:
        return told.tokens[int(np.argmax(told.chance[number]))]
    assert told.mean is not None
    assert told.slopes is not None
    unit: Unit = "ohm" if m.kind == "ohms" else "V"
    value = float(told.mean[number] + told.slopes[:, number] @ unknowns)
    if unit == "ohm" and max(value, float(told.mean[number])) > bench.meter.ohms_over:
        return math.inf
    if rng is not None:
        value += float(rng.normal() * find_own_sd(value, unit, bench.meter))
    return show_value(max(value, 0.0) if unit == "ohm" else value, unit, bench.meter)


def ask(bench: Bench, *taken: Taken, symptom: str | None = None) -> Diagnosis:
    """Return the diagnosis of some readings."""
    return diagnose(bench, Question(taken=taken, symptom=symptom))


def find_probability(diagnosis: Diagnosis, bench: Bench, text: str) -> float:
    """Return the probability of one hypothesis."""
    wanted = parse_faults(text, bench.loop)
    return next(c.probability for c in diagnosis.candidates if c.faults == wanted)
