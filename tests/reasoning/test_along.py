"""What tests all along a loop show is the same, halved or asked one by one: for every hypothesis and complaint.

Loops are longer here than most that are measured at: on a short one nearly every test is asked.
"""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, Forecast, Measurement, list_measurements
from diagnostics.reasoning import list_hypotheses
from diagnostics.reasoning.along import LIKELY, find_along
from diagnostics.reasoning.symptoms import find_symptom, rate_symptom, read_symptoms
from diagnostics.source import read_file
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site, parse_site

ALONG = sorted(name for name, symptom in read_symptoms().symptoms.items() if symptom.of)
SITES = find_shipped("cases") / "sites"
# Two sorts of heads on one pair; one-way heads at which volts pass through a whole window of the panel's.
LONGER = ("orchard", "reading_room")


@cache
def build_longer(name: str) -> Loop:
    """Return the loop of a site with three times its detectors, in their order."""
    site = parse_site(read_file(SITES / f"{name}.yaml"))
    (spec,) = site.loops
    longer = [d.model_copy(update={"room": f"{d.room} {n}"}) for n in range(3) for d in spec.detectors]
    return build_loop(site.model_copy(update={"loops": (spec.model_copy(update={"detectors": tuple(longer)}),)}))


@cache
def build_long(style: str) -> Loop:
    return build_loop(build_quick_site(QuickDescription(style, "16", "4.7k", "18 AWG", "10 m", end_relay="yes"))[0])


def ask_all(loop: Loop, name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what find_along tells of each detector and hypothesis, and what the forecasts say one by one."""
    symptom = find_symptom(name)

    def tell(forecast: Forecast) -> NDArray[np.float64]:
        assert forecast.chance is not None
        return np.asarray(forecast.chance[:, [forecast.tokens.index(t) for t in symptom.tokens]].sum(axis=1))

    hypotheses = list_hypotheses(loop)
    tests = [m for m in list_measurements(loop) if m.kind == symptom.measurement]
    halved = find_along(Bench(loop, hypotheses), tests, tell)
    return halved, np.stack([tell(f) for f in Bench(loop, hypotheses).forecast_all(tests)])


@pytest.mark.parametrize("name", ALONG)
@pytest.mark.parametrize("site", LONGER)
def test_what_shows_along_a_loop_is_what_each_test_shows(site: str, name: str) -> None:
    halved, one_by_one = ask_all(build_longer(site), name)
    assert ((halved > LIKELY) == (one_by_one > LIKELY)).all()
    assert (one_by_one > LIKELY).any()
    assert (one_by_one < LIKELY).any()


@pytest.mark.parametrize("name", ["only_first_report", "one_does_not_report", "some_do_not_report", "will_not_reset"])
@pytest.mark.parametrize("style", ["two_wire_zone", "module_four_wire", "class_a_zone"])
def test_so_it_is_in_every_style(style: str, name: str) -> None:
    halved, one_by_one = ask_all(build_long(style), name)
    assert ((halved > LIKELY) == (one_by_one > LIKELY)).all()


def test_fewer_tests_are_forecast_on_a_long_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = build_long("two_wire_zone")
    bench, asked = Bench(loop, list_hypotheses(loop)), 0
    make = Bench.forecast_each

    def count(self: Bench, some: list[tuple[Measurement, NDArray[np.intp]]]) -> tuple[Forecast, ...]:
        nonlocal asked
        asked += sum(rows.size for _, rows in some)
        return make(self, some)

    monkeypatch.setattr(Bench, "forecast_each", count)
    rate_symptom(bench, "one_does_not_report")
    assert 0 < asked < 0.8 * len(loop.detectors) * len(bench.hypotheses)
