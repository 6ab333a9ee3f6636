"""Proofs: finding guides against the loop model, speed beside a simulator, the design and testability of a loop."""

from .design import BACKUP_H, MOST_COUNTED, Capacity, Design, Flaw, Row, check_design
from .prove import EVERYTHING, MEANS, GuideProof, Proof, prove_guide
from .speed import SpeedRow, measure_speed
from .suggest import ComplaintRow, SuggestionRow, measure_choice, measure_complaints, measure_suggestions
from .testability import Alike, Kit, Least, Testability, Unseen, check_testability

__all__ = [
    "BACKUP_H", "EVERYTHING", "MEANS", "MOST_COUNTED", "Alike", "Capacity", "ComplaintRow", "Design", "Flaw",
    "GuideProof", "Kit", "Least", "Proof", "Row", "SpeedRow", "SuggestionRow", "Testability", "Unseen", "check_design",
    "check_testability", "measure_choice", "measure_complaints", "measure_speed", "measure_suggestions", "prove_guide",
]  # fmt: skip
