"""Belief, groups, the choice of the next action, and the verdict; explanation as data, no words."""

from .ahead import PlanAhead
from .answer import NOTHING, Candidate, Contradiction, Diagnosis, Expected, Question, SuspectGroup
from .belief import (
    Belief,
    Taken,
    build_prior,
    keep_latest,
    list_hypotheses,
    rate_fit,
    rate_together,
    tell_symptom,
    update,
)
from .came_out import (
    Fitting,
    Foreseen,
    Reason,
    Shown,
    Told,
    asks_diode,
    build_shown,
    foresee_fault,
    foresee_out,
    is_alternating,
    list_asked,
    name_fault,
    parse_diode,
    parse_foreseen,
    parse_shown,
    rate_out,
)
from .choose import (
    LEAST_BITS,
    Action,
    InformationPerMinute,
    Policy,
    Situation,
    find_information,
    rank_measurements,
    rate_information,
    rate_one,
)
from .confirm import LOOKS
from .expect import LEADING
from .groups import APART, Group, find_groups, rate_differences
from .met import MetDefect, find_met_defects
from .repairs import find_repair_class
from .symptoms import Symptom, find_likely, find_symptom, rate_symptom, read_symptoms
from .told import is_same
from .trace import Stage, trace_belief
from .verdict import SETTLED, Conclusion, conclude, diagnose

SYMPTOMS: tuple[str, ...] = tuple(read_symptoms().symptoms)

__all__ = [
    "APART",
    "LEADING",
    "LEAST_BITS",
    "LOOKS",
    "NOTHING",
    "SETTLED",
    "SYMPTOMS",
    "Action",
    "Belief",
    "Candidate",
    "Conclusion",
    "Contradiction",
    "Diagnosis",
    "Expected",
    "Fitting",
    "Foreseen",
    "Group",
    "InformationPerMinute",
    "MetDefect",
    "PlanAhead",
    "Policy",
    "Question",
    "Reason",
    "Shown",
    "Situation",
    "Stage",
    "SuspectGroup",
    "Symptom",
    "Taken",
    "Told",
    "asks_diode",
    "build_prior",
    "build_shown",
    "conclude",
    "diagnose",
    "find_groups",
    "find_information",
    "find_likely",
    "find_met_defects",
    "find_repair_class",
    "find_symptom",
    "foresee_fault",
    "foresee_out",
    "is_alternating",
    "is_same",
    "keep_latest",
    "list_asked",
    "list_hypotheses",
    "name_fault",
    "parse_diode",
    "parse_foreseen",
    "parse_shown",
    "rank_measurements",
    "rate_differences",
    "rate_fit",
    "rate_information",
    "rate_one",
    "rate_out",
    "rate_symptom",
    "rate_together",
    "read_symptoms",
    "tell_symptom",
    "trace_belief",
    "update",
]  # fmt: skip
