"""What people and programs read: words, explanations, JSON objects, pictures."""

from .circuit_object import build_circuit_object
from .explain import explain_next
from .objects import build_diagnosis, build_list, build_prediction, build_where, round_number, write_faults
from .words import Listener, Region, Words, read_words

__all__ = [
    "Listener", "Region", "Words", "build_circuit_object", "build_diagnosis", "build_list", "build_prediction",
    "build_where", "explain_next", "read_words", "round_number", "write_faults",
]  # fmt: skip
