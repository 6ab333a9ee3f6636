"""What was suggested, ready to be kept when somebody has done something about it."""

from dataclasses import replace
from datetime import UTC, datetime

from diagnostics.cases import Reading, Suggestion
from diagnostics.readings import Measurement
from diagnostics.reasoning import Diagnosis
from diagnostics.wiring import Loop

from .assess import Assessment, find_measurement, understand, write_class


def build_suggestion(assessment: Assessment, suggested_at: datetime | None = None) -> Suggestion | None:
    """Return the step that an assessment suggests, by the model or by the finding guide that leads, or None.

    ``suggested_at`` is when it was first shown; without it, now. Its outcome is told when it is stored.
    """
    action = assessment.diagnosis.next
    if action is None:
        return None
    step = _find_step(assessment)
    return Suggestion(
        action.action,
        _name_action(assessment.diagnosis),
        suggested_at or datetime.now(UTC),
        "other",
        by="guide" if step else "model",
        guide=assessment.case.symptom if step else "",
        step=step,
    )


def build_beside(m: Measurement) -> Suggestion:
    """Return a reading of the list of one ladder as what it was: a step that was suggested beside another."""
    return Suggestion("measure", m.key, datetime.now(UTC), "other")


def _find_step(assessment: Assessment) -> str:
    """Return the step of the guide that this very measurement belongs to, or an empty text: the model suggests it."""
    action, guidance = assessment.diagnosis.next, assessment.guidance
    asked = guidance.walk.measurement if guidance else None
    return guidance.walk.at if guidance and action and asked and action.measurement == asked else ""


def _name_action(d: Diagnosis) -> str:
    if d.next is not None and d.next.measurement is not None:
        return d.next.measurement.key
    return write_class(d.next_class) if d.next_class else ""


def answer_suggestion(loop: Loop, suggestion: Suggestion, reading: Reading) -> Suggestion:
    """Return a suggestion as a reading answered it: followed where it is of that set-up, otherwise *other*."""
    taken, offered = understand(loop, reading).measurement, find_measurement(loop, suggestion.what)
    followed = offered is not None and offered.set_up == taken.set_up
    return replace(suggestion, outcome="followed" if followed else "other", reading_id=reading.reading_id)
