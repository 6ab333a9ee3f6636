"""Posteriors against an exact Bayesian network: the same faults, complaint and readings, inferred by another program.

Outside world: pyAgrum, by elimination in a network of one cause, which of all faults it is, with a child for the
complaint, one for each reading, and one for the repair.
"""

import warnings
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.faults import Context
from diagnostics.readings import Bench, Forecast, list_measurements
from diagnostics.reasoning import (
    Question,
    Taken,
    build_prior,
    conclude,
    find_repair_class,
    rate_symptom,
)
from diagnostics.reasoning.belief import MIMICS
from tests.reasoning.draw import prepare_bench

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its wrappers warn while they load, and an error there ends the process
    import pyagrum as gum

Array = NDArray[np.float64]
CONTEXT: Context = "aged"
SYMPTOM = "constant_trouble"


def build_network(bench: Bench, forecasts: list[Forecast]) -> gum.BayesNet:
    """Return a network of the cause, its complaint, its readings and its repair; the last cause is *not modelled*."""
    prior = build_prior(bench, (CONTEXT,))
    causes = [*prior.probability, prior.not_modelled]
    repairs = [find_repair_class(h) for h in bench.hypotheses] + [("", "")]
    names = list(dict.fromkeys(repairs))
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("cause", "", len(causes)))
    net.cpt("cause")[:] = causes
    rate = rate_symptom(bench, SYMPTOM)
    tables: dict[str, Array] = {"complaint": np.column_stack([rate, 1 - rate])}
    for n, forecast in enumerate(forecasts):
        assert forecast.chance is not None
        tables[f"reading{n}"] = forecast.chance
    for name, table in tables.items():
        width = table.shape[1]
        net.add(gum.LabelizedVariable(name, "", width))
        net.addArc("cause", name)
        net.cpt(name)[:] = np.vstack([table, np.full(width, 1 / width)])
    net.add(gum.LabelizedVariable("repair", "", len(names)))
    net.addArc("cause", "repair")
    net.cpt("repair")[:] = np.array([[float(name == own) for name in names] for own in repairs])
    return net


def _mimic_the_rest(net: gum.BayesNet, evidence: dict[str, int], reading: str, share: float = MIMICS) -> None:
    """Let *not modelled* show, so often, what the other causes would by all that is known before a reading."""
    causes, width = net.variable("cause").domainSize(), net.variable(reading).domainSize()
    inference = gum.LazyPropagation(net)
    inference.setEvidence({**evidence, "cause": [1.0] * (causes - 1) + [0.0]})
    inference.makeInference()
    rest = np.array(inference.posterior(reading).tolist())
    net.cpt(reading)[{"cause": causes - 1}] = share * rest + (1 - share) / width


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone"])
def test_beliefs_are_those_of_an_exact_network(style: str) -> None:
    bench = prepare_bench(style, 3)
    wanted = ("panel_shows", "supply_lamps", "lamp", "which_dark", "functional_test", "look")
    measurements = [next(m for m in list_measurements(bench.loop) if m.kind == kind) for kind in wanted]
    forecasts = list(bench.forecast_all(measurements))
    fault = next(n for n, h in enumerate(bench.hypotheses) if h and h[0].text == "conductor_open@det2.in+")
    net = build_network(bench, forecasts)
    _mimic_the_rest(net, {}, "complaint", 1.0)  # it makes each complaint as often as they do
    evidence, taken = {"complaint": 0}, list[Taken]()
    beliefs = []
    for n, forecast in enumerate(forecasts):
        assert forecast.chance is not None
        said = int(forecast.chance[fault].argmax())
        _mimic_the_rest(net, evidence, f"reading{n}")
        evidence[f"reading{n}"] = said
        taken.append(Taken(forecast.measurement, forecast.tokens[said]))
        inference = gum.LazyPropagation(net)
        inference.setEvidence(evidence)
        inference.makeInference()
        exact = np.array(inference.posterior("cause").tolist())
        found = conclude(bench, Question(contexts=(CONTEXT,), symptom=SYMPTOM, taken=tuple(taken)))
        assert found.contradiction is None
        assert found.belief.probability == pytest.approx(exact[:-1], rel=1e-9, abs=1e-15)
        assert found.belief.not_modelled == pytest.approx(exact[-1], rel=1e-9)
        repairs = np.array(inference.posterior("repair").tolist())[:-1]
        assert list(found.weigh_repairs().values()) == pytest.approx(list(repairs), rel=1e-9, abs=1e-15)
        beliefs.append(exact[fault])
    assert all(later > 0.5 * earlier for earlier, later in pairwise(beliefs))
    assert beliefs[-1] > 3 * beliefs[0]
