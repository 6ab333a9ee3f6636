"""``ohmward demo``: one worked, invented case, told from the first word to the verdict."""

from collections.abc import Iterator
from dataclasses import replace

from diagnostics.cases import read_case
from diagnostics.locate import find_shipped
from diagnostics.reports import Words
from diagnostics.visit import assess_case

from .commands import tell_diagnosis

DEMO = "bakery_call.yaml"


def tell_demo() -> Iterator[str]:
    """Yield the lines of the demonstration; every line is computed, nothing is canned but the readings."""
    case = read_case(find_shipped("cases") / DEMO)
    yield f"{case.site.name}. The readings are part of the demonstration; the answers are computed now."
    for count in range(len(case.readings) + 1):
        assessment = assess_case(replace(case, readings=case.readings[:count]))
        words = Words(assessment.loop)
        if count:
            taken = assessment.taken[-1]
            yield ""
            yield f"Reading {count}: {words.ask(taken.measurement)}"
            yield f"  {words.value(taken.measurement, taken.value)}"
        else:
            yield f"The complaint: {words.symptom(case.symptom)}"
            yield words.caution("is_it_real")
        yield from tell_diagnosis(assessment, words)
