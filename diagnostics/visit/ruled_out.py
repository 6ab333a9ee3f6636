"""Which reading ruled out what: for whoever takes a case over, so that nothing is looked for twice."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.cases import Reading
from diagnostics.readings import Faults
from diagnostics.reasoning import build_prior, tell_symptom, update

from .assess import Assessment, build_case_bench, understand

# What is told as ruled out has at most this share now; *invented*, half the width of a line on a screen.
_OUT: Final = 0.005


@dataclass(frozen=True, slots=True)
class RuledOut:
    """One reading, its number in the record, what share of the suspects it ruled out, and these, likeliest first."""

    reading: Reading
    number: int
    share: float
    suspects: tuple[Faults, ...]


def list_ruled_out(assessment: Assessment) -> tuple[RuledOut, ...]:
    """Return what each reading that counts ruled out, in the order taken; a reading that ruled out nothing is left out.

    A suspect is ruled out by the reading after which it was improbable for the first time, where it still is.
    """
    case = assessment.case
    bench = build_case_bench(case)
    now = {c.faults: c.probability for c in assessment.diagnosis.candidates}
    left = np.array([now.get(h, 0.0) > _OUT for h in bench.hypotheses])
    belief = build_prior(bench, assessment.contexts)
    belief = tell_symptom(belief, bench, case.symptom) if case.symptom else belief
    found, out = [], left | (belief.probability <= _OUT * belief.probability.max())
    for number, reading in enumerate(case.readings, 1):
        if reading.condition == "absent":
            continue
        taken, before = understand(bench.loop, reading), belief.probability
        (forecast,) = bench.forecast_all([taken.measurement])
        belief, _ = update(belief, forecast, taken.value, bench.meter)
        gone = ~out & (belief.probability <= _OUT)
        out |= gone
        told = _list_gone(gone, before)
        if told:
            names = tuple(bench.hypotheses[n] for n in told)
            found.append(RuledOut(reading, number, float(before[gone].sum()), names))
    return tuple(found)


def _list_gone(gone: NDArray[np.bool_], before: NDArray[np.float64]) -> list[int]:
    """Return the numbers of what is ruled out, the likeliest until then first."""
    return sorted(np.flatnonzero(gone).tolist(), key=lambda n: -before[n])
