"""The finding guide of a case: how far its answers lead, what it asks now, and whether guide and readings agree."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from diagnostics.cases import Acknowledgement, Case, CaseStore, GuideAnswer
from diagnostics.errors import CaseError
from diagnostics.readings import Bench, is_offered, list_measurements
from diagnostics.reasoning import Diagnosis, Taken
from diagnostics.trees import CANNOT, DONE, Doubt, Guide, History, Step, Walk, find_doubt, find_guide, walk

from .listener import find_left_out
from .marks import find_about, list_accepted

_LEADS: Final = "led by "
NOT_SURE: Final = "not sure"


@dataclass(frozen=True, slots=True)
class Guidance:
    """The walk through the guide of this complaint so far, and the doubt about it, if any."""

    walk: Walk
    doubt: Doubt | None

    @property
    def pending(self) -> Step | None:
        """Return the question or instruction that waits for a word, or None: a reading is due, or nothing."""
        step = self.walk.step
        return step if step is not None and step.measure is None else None

    @property
    def stops(self) -> bool:
        """Return whether the guide says that no fault of the loop must be looked for now."""
        return self.walk.end is not None and self.walk.end.stop


def build_guidance(guide: Guide, bench: Bench, case: Case, taken: tuple[Taken, ...], diagnosis: Diagnosis) -> Guidance:
    """Return how far the answers of a case lead through a guide."""
    return _follow(guide, bench, case, taken, diagnosis, find_guide_answers(case, guide))


def build_usual_guidance(
    guide: Guide, bench: Bench, case: Case, taken: tuple[Taken, ...], diagnosis: Diagnosis
) -> Guidance:
    """Return how far the readings of a case lead, what is no reading taken as on a usual day unless it was answered."""
    answers = list_usual_answers(guide) | find_guide_answers(case, guide)
    return _follow(guide, bench, case, taken, diagnosis, answers)


def _follow(
    guide: Guide,
    bench: Bench,
    case: Case,
    taken: tuple[Taken, ...],
    diagnosis: Diagnosis,
    answers: dict[str, str],
) -> Guidance:
    can = None if case.can is None else frozenset(case.can)
    lacks = {m.key for m in list_measurements(bench.loop) if not is_offered(m, can)}
    walked = walk(guide, bench, History(case.symptom, taken, answers, find_left_out(case, bench.loop) | lacks))
    return Guidance(walked, find_doubt(walked, diagnosis))


def list_usual_answers(guide: Guide) -> dict[str, str]:
    """Return the answers of a usual day to every question and instruction of a guide, by step."""
    spoken = {name: step for name, step in guide.steps.items() if step.ask is not None or step.do is not None}
    return {name: DONE if step.do is not None else step.usual or "" for name, step in spoken.items()}


def find_guide_answers(case: Case, guide: Guide) -> dict[str, str]:
    """Return the answers given to steps that are no reading, the latest of each.

    A step that only carries cautions which this visit has acknowledged already is done, as on a usual day.
    """
    accepted = {a.caution for a in list_accepted(case)}
    known = {name: step for name, step in guide.steps.items() if step.cautions and accepted >= set(step.cautions)}
    found = {
        name: DONE if step.do is not None else step.usual or "" for name, step in known.items() if not step.measure
    }
    return found | _find_given(case, guide.symptom)


def find_given(case: Case) -> dict[str, str]:
    """Return what people answered to the guide of this complaint, the latest of each step."""
    return _find_given(case, case.symptom)


def _find_given(case: Case, guide: str) -> dict[str, str]:
    """Return the answers of this visit: what was so at an earlier one, real smoke say, is asked anew."""
    some = (g for g in case.guide_answers if g.guide == guide and case.is_of_visit(g.at))
    return {given.step: given.answer for given in some}


def list_answers(step: Step) -> tuple[str, ...]:
    """Return what can be answered to a step that is no reading, in the order of its branches."""
    if step.do is not None:
        return (DONE,)
    named = [condition for branch in step.branches for condition in branch.conditions]
    usual = [step.usual] if step.usual else []
    return tuple(dict.fromkeys([*named, *usual, *([NOT_SURE] if step.otherwise else [])]))


def answer_guide(store: CaseStore, case: Case, step: str, answer: str) -> Case:
    """Store an answer to a step of the guide that is no reading; a later one goes before an earlier one.

    Raises
    ------
    CaseError
        There is no guide for this complaint, or no such step in it, or it takes no such answer.
    """
    guide = find_case_guide(case)
    found = guide.steps.get(step) if guide else None
    if found is None or answer not in {*list_answers(found), CANNOT}:
        raise CaseError(f"{answer[:40]!r} is no answer to step {step[:40]!r} of the guide for this complaint")
    return store.append_answer(case.case_id, GuideAnswer(case.symptom, step, answer, datetime.now(UTC)), case.revision)


def follows_guide(case: Case) -> bool:
    """Return whether the finding guide leads in this case; it does until somebody lets the model lead."""
    led = [a.caution.removeprefix(_LEADS) for a in case.acknowledged if a.caution.startswith(_LEADS)]
    return not led or led[-1] == "guide"


def choose_lead(store: CaseStore, case: Case, *, guide: bool) -> Case:
    """Store whether the finding guide or the model leads from here on."""
    given = Acknowledgement(_LEADS + ("guide" if guide else "model"), datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def find_case_guide(case: Case) -> Guide | None:
    """Return the finding guide for the complaint of a case, or None; with several loops it must be about one."""
    told = len(case.site.loops) == 1 or find_about(case)
    return find_guide(case.symptom) if case.symptom and told else None
