"""Symptoms: what is complained of, as evidence like any other."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diagnostics.errors import NotFoundError, find_nearest
from diagnostics.readings import Bench, Forecast, Measurement, list_measurements
from diagnostics.source import parse_model, read_file

from .along import LIKELY, find_along

_FILE = Path(__file__).with_name("symptoms.yaml")
Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ORDERED = frozenset({"all", "first_only"})  # patterns that need an order, or every detector of one loop


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Symptom(_Strict):
    """One complaint: the measurement that would show it, at which detectors, with which words."""

    about: str
    measurement: str
    tokens: tuple[str, ...]
    of: Literal["", "all", "any", "first_only", "one", "several"] = ""


class _Table(_Strict):
    format: Literal["ohmward-symptoms/1"]
    told_right: float
    symptoms: dict[str, Symptom]


@cache
def read_symptoms() -> _Table:
    """Return the symptoms that ship with the package."""
    return parse_model(read_file(_FILE), _Table)


def find_symptom(name: str) -> Symptom:
    """Return a symptom by name; raises NotFoundError with a suggestion."""
    known = read_symptoms().symptoms
    if name not in known:
        near = find_nearest(name, known)
        raise NotFoundError(
            f"no symptom {name!r}", hint=f"did you mean {near!r}?" if near else f"there are {', '.join(known)}"
        )
    return known[name]


def rate_symptom(bench: Bench, name: str) -> Array:
    """Return how likely each hypothesis of a bench makes the complaint, (hypothesis,).

    A complaint is told wrongly, or of a fault that has cleared, with a small share.
    """
    symptom = find_symptom(name)
    right = read_symptoms().told_right
    if symptom.of == "":
        shown = 1 - np.asarray((1 - _rate_words(bench, symptom)).prod(axis=0), dtype=np.float64)
        return (1 - right) + (2 * right - 1) * shown
    own = {d.name for d in bench.loop.chains[0].detectors if bench.focus}
    every = [m for m in list_measurements(bench.loop) if m.kind == symptom.measurement]
    some = [m for m in every if m.at in own or not own]
    if not some:
        return np.full(len(bench.hypotheses), 0.5)
    return np.where(_holds_on_a_loop(bench, symptom, some), right, 1 - right)


def find_likely(bench: Bench, name: str) -> Flags:
    """Return which hypotheses make a complaint by the words that are likeliest wherever it shows, (hypothesis,)."""
    symptom = find_symptom(name)
    if symptom.of == "":
        return np.asarray((_rate_words(bench, symptom) > LIKELY).any(axis=0), dtype=np.bool_)
    return np.asarray(rate_symptom(bench, name) > LIKELY, dtype=np.bool_)


def _rate_words(bench: Bench, symptom: Symptom) -> Array:
    """Return how likely each place shows a complaint of the whole panel, (place, hypothesis)."""
    zones = _list_zones(bench, symptom.measurement)
    forecasts = bench.forecast_all([Measurement(symptom.measurement, at=at) for at in zones])
    return np.stack([_sum_tokens(f, symptom.tokens) for f in forecasts])


def _list_zones(bench: Bench, measurement: str) -> list[str]:
    """Return where a complaint of the whole panel shows: at the zones of the loop that it is said to be about."""
    if not bench.focus or measurement != "panel_shows":
        return ["panel"]
    spec = bench.loop.chains[0].spec
    return [zone for zone in (spec.zone, spec.co_zone) if zone is not None]


def _sum_tokens(forecast: Forecast, wanted: tuple[str, ...]) -> Array:
    tokens, chance = forecast.tokens, forecast.chance
    if chance is None:
        raise TypeError("a symptom is shown by words, not numbers")
    total: Array = chance[:, [tokens.index(t) for t in wanted]].sum(axis=1)
    return total


def _holds_on_a_loop(bench: Bench, symptom: Symptom, some: Sequence[Measurement]) -> Flags:
    """Return whether the pattern is there: over all detectors, or, where it needs an order, over those of one loop."""
    if symptom.of not in ORDERED:
        return _holds(symptom.of, _find_shown(bench, symptom, some))
    own = [[m for m in some if m.at in {d.name for d in chain.detectors}] for chain in bench.loop.chains]
    return np.asarray(
        np.stack([_holds_along(bench, symptom, tests) for tests in own if tests]).any(axis=0), dtype=np.bool_
    )


def _holds_along(bench: Bench, symptom: Symptom, some: Sequence[Measurement]) -> Flags:
    """Return whether the pattern is there over the detectors of one loop.

    It is not where the last of them does not show the complaint, which nearly every hypothesis tells: the others are
    forecast for the rest alone.
    """
    holds: Flags = _find_shown(bench, symptom, some[-1:])[0]
    rest = np.flatnonzero(holds)
    if rest.size:
        holds[rest] = _holds(symptom.of, _find_shown(bench.narrow(rest), symptom, some))
    return holds


def _find_shown(bench: Bench, symptom: Symptom, some: Sequence[Measurement]) -> Flags:
    """Return which detectors show the complaint, (detector, hypothesis)."""
    shown: Flags = find_along(bench, some, lambda f: _sum_tokens(f, symptom.tokens)) > LIKELY
    return shown


def _holds(of: str, shown: Flags) -> Flags:
    """Return whether the pattern over detectors, (detector, hypothesis), is the one complained of."""
    if of == "all":
        return np.asarray(shown.all(axis=0))
    if of == "one":
        return np.asarray(shown.sum(axis=0) == 1)
    if of == "several":
        return np.asarray((shown.sum(axis=0) > 1) & ~shown.all(axis=0))
    if of == "any":
        return np.asarray(shown.any(axis=0))
    falls = np.diff(shown.astype(np.int8), axis=0)
    return np.asarray(~shown[0] & shown[-1] & (falls >= 0).all(axis=0))
