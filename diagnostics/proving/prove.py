"""Hold finding guides against the loop model: each fault that shows the complaint must reach an end that names it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.faults import Fault
from diagnostics.readings import Bench, Forecast, Measurement, find_seen_instead, show_value
from diagnostics.readings.meter import Unit
from diagnostics.reasoning import find_likely
from diagnostics.trees import CANNOT, DONE, HEALTHY, Guide, History, Passed, Step, Walk, find_step_measurement, walk

# A way that a reading of this many standard deviations more or less would not have taken stands clear.
CLEAR_SDS = 2.0
EVERYTHING, NO_METER, AT_THE_PANEL = "everything", "no meter", "at the panel"
MEANS = (EVERYTHING, NO_METER, AT_THE_PANEL)


@dataclass(frozen=True, slots=True)
class Proof:
    """One fault on one site (None: the sound loop), walked with some means: the end reached, and if it names the fault.

    ``end`` is empty where the guide was left, and the model carries on. ``thin`` are steps at which a reading less than
    two standard deviations off would have led to an end that does not name the fault.
    """

    site: str
    fault: Fault | None
    means: str
    way: tuple[str, ...]
    end: str
    right: bool
    thin: tuple[str, ...]
    minutes: float


@dataclass(frozen=True, slots=True)
class GuideProof:
    """A guide held against all sites: every proof, and the ways that no fault took."""

    guide: Guide
    proofs: tuple[Proof, ...]
    unused: tuple[str, ...]

    @property
    def wrong(self) -> tuple[Proof, ...]:
        """Return the faults at an end that does not name them; with all means, also those that reached none."""
        return tuple(p for p in self.proofs if not p.right and (p.end or p.means == EVERYTHING))

    @property
    def thin(self) -> tuple[Proof, ...]:
        """Return the faults that a reading within meter error and spread would have led to a wrong end."""
        return tuple(p for p in self.proofs if p.thin)

    @property
    def idle(self) -> tuple[str, ...]:
        """Return the suspects, as ``end: kind``, that an end names and no fault of that kind ever reached it.

        An end of a shared part may be idle here and needed by another guide.
        """
        reached = {(p.end, p.fault.kind if p.fault else HEALTHY) for p in self.proofs}
        named = [(name, kind) for name, end in self.guide.ends.items() for kind in end.suspects]
        return tuple(f"{name}: {kind}" for name, kind in named if (name, kind) not in reached)

    @property
    def mean_suspects(self) -> float:
        """Return how many kinds of fault the ends reached leave, in the mean; 0 where nothing was proved."""
        counts = [len(self.guide.ends[p.end].suspects) for p in self.proofs if p.end]
        return float(np.mean(counts)) if counts else 0.0


def prove_guide(guide: Guide, benches: Mapping[str, Bench]) -> GuideProof:
    """Walk a guide for every single fault of every site (name → bench with *healthy* first) that shows its complaint.

    Readings are those that the model holds likeliest, as the meter shows them; questions are answered as on a usual
    day. Each fault is walked with all means, without a meter, and by somebody who stays at the panel. Where the sound
    loop itself shows the complaint (nothing there drops the supply, say), that is what an end must name.
    """
    proofs: list[Proof] = []
    taken: set[tuple[str, str]] = set()
    for site, bench in benches.items():
        for proof, passed in _prove_loops(guide, site, bench):
            proofs.append(proof)
            taken |= {(p.step, p.goal) for p in passed}
    return GuideProof(guide, tuple(proofs), _list_unused(guide, taken))


def _list_unused(guide: Guide, taken: set[tuple[str, str]]) -> tuple[str, ...]:
    """Return the ways, and ends, that no fault took; other answers to questions, and their ends, are left out."""
    ways = [(name, b.go) for name, step in guide.steps.items() if step.ask is None for b in step.branches]
    asked = {goal for step in guide.steps.values() if step.ask is not None for goal in step.goals}
    ends = [end for end in guide.ends if end not in asked | {goal for _, goal in taken}]
    return (*(f"{n} → {goal}" for n, goal in dict.fromkeys(ways) if (n, goal) not in taken), *ends)


def _prove_loops(guide: Guide, site: str, bench: Bench) -> Iterator[tuple[Proof, tuple[Passed, ...]]]:
    """Walk a guide for the complaint about each loop of a site."""
    zones = [chain.spec.zone for chain in bench.loop.chains]
    for zone in zones if len(zones) > 1 else [""]:
        yield from _prove_site(guide, f"{site} {zone}".strip(), bench.look_at(zone))


def _prove_site(guide: Guide, site: str, bench: Bench) -> Iterator[tuple[Proof, tuple[Passed, ...]]]:
    shows = np.flatnonzero(find_likely(bench, guide.symptom))
    some = shows[:1] if shows.size and shows[0] == 0 else shows
    asked = [find_step_measurement(step, bench.loop) for step in guide.steps.values()]
    forecasts = _forecast(bench.narrow(some), [m for m in asked if m is not None])
    for n, number in enumerate(some):
        fault = next(iter(bench.hypotheses[number]), None)
        for means in MEANS:
            simulated = _Simulated(forecasts, n, bench.hypotheses[number], guide.symptom, bench, means)
            walked = walk(guide, bench, simulated)
            yield _judge(site, fault, walked, simulated), walked.passed


def _forecast(bench: Bench, measurements: Sequence[Measurement]) -> dict[str, Forecast]:
    unique = list({m.key: m for m in measurements}.values())
    return {f.measurement.key: f for f in bench.forecast_all(unique)} if bench.hypotheses else {}


@dataclass(frozen=True, slots=True)
class _Simulated:
    """Answers of one hypothesis: what its measurements most likely show; ``moved`` puts another value in for a step."""

    forecasts: Mapping[str, Forecast]
    row: int
    faults: tuple[Fault, ...]
    symptom: str
    bench: Bench
    means: str
    moved: tuple[str, float] | None = None

    def __call__(self, name: str, step: Step, measurement: Measurement | None) -> float | str | None:
        """Return the answer to a step."""
        if measurement is None:
            return DONE if step.do is not None else step.usual
        if self.moved is not None and self.moved[0] == name:
            return self.moved[1]
        told = History(self.symptom)(name, step, measurement)
        if told is not None:
            return told
        gone = find_seen_instead(measurement, self.bench.loop, self.faults)
        can = _is_possible(measurement, self.means) and gone is None
        return self._read(self.forecasts[measurement.key]) if can else CANNOT

    def _read(self, forecast: Forecast) -> float | str:
        if forecast.chance is not None:
            return forecast.tokens[int(forecast.chance[self.row].argmax())]
        if forecast.mean is None:
            raise TypeError("a forecast has either numbers or words")
        unit: Unit = "ohm" if forecast.measurement.kind == "ohms" else "V"
        return show_value(float(forecast.mean[self.row]), unit, self.bench.meter)


def _is_possible(m: Measurement, means: str) -> bool:
    if means == NO_METER:
        return "meter" not in m.tools
    return means == EVERYTHING or (m.place == "panel" and not m.visits)


def _judge(site: str, fault: Fault | None, walked: Walk, simulated: _Simulated) -> Proof:
    near = [p for p in walked.passed if p.clear_sds is not None and p.clear_sds < CLEAR_SDS]
    beside = {p.step: _walk_beside(walked, simulated, p) for p in near}
    thin = tuple(step for step, other in beside.items() if not _names(other, fault))
    end = walked.at if walked.end else ""
    way = tuple(p.step for p in walked.passed)
    return Proof(
        site, fault, simulated.means, way, end, _names(walked, fault), thin, _sum_minutes(walked.passed)
    )  # fmt: skip


def _walk_beside(walked: Walk, simulated: _Simulated, passed: Passed) -> Walk:
    moved = replace(simulated, moved=(passed.step, passed.beside or 0.0))
    return walk(walked.guide, simulated.bench, moved)


def _names(walked: Walk, fault: Fault | None) -> bool:
    return walked.end is not None and (fault.kind if fault else HEALTHY) in walked.end.suspects


def _sum_minutes(passed: Sequence[Passed]) -> float:
    minutes, place = 0.0, "panel"
    for m in [p.measurement for p in passed if p.measurement is not None and p.answer != CANNOT]:
        minutes += m.find_minutes(place)
        place = m.place
    return minutes
