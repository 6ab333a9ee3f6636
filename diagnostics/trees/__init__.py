"""Finding guides: a firm's way of finding a fault, in its own words, with the loop model at its side."""

from .check import HEALTHY
from .conditions import Between, Condition, Sound, find_limits, list_words, parse_condition
from .guide import (
    OWN_GUIDES,
    Guide,
    check_part,
    choose_guide,
    find_guide,
    list_guide_files,
    parse_guide,
    read_guide,
    read_own,
    read_shipped,
)
from .places import ACROSS, AT, find_step_measurement, list_wiring
from .policy import DONE, Doubt, GuidePolicy, as_policy, find_doubt, list_ends
from .schema import Branch, Dialect, End, GuideFile, Part, Say, Step, TwoVoices
from .walk import CANNOT, Answer, History, Passed, Walk, find_sound, walk

__all__ = [
    "ACROSS", "AT", "CANNOT", "DONE", "HEALTHY", "OWN_GUIDES", "Answer", "Between", "Branch", "Condition", "Dialect",
    "Doubt", "End", "Guide", "GuideFile", "GuidePolicy", "History", "Part", "Passed", "Say", "Sound", "Step",
    "TwoVoices", "Walk", "as_policy", "check_part", "choose_guide", "find_doubt", "find_guide", "find_limits",
    "find_sound", "find_step_measurement", "list_ends", "list_guide_files", "list_wiring", "list_words",
    "parse_condition", "parse_guide", "read_guide", "read_own", "read_shipped", "walk",
]  # fmt: skip
