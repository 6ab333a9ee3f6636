"""Proofs: finding guides against the loop model, speed beside a circuit simulator, and the design of a loop."""

from .design import BACKUP_H, MOST_COUNTED, Capacity, Design, Flaw, Row, check_design
from .prove import EVERYTHING, MEANS, GuideProof, Proof, prove_guide
from .speed import SpeedRow, measure_speed
from .suggest import SuggestionRow, measure_suggestions

__all__ = [
    "BACKUP_H", "EVERYTHING", "MEANS", "MOST_COUNTED", "Capacity", "Design", "Flaw", "GuideProof", "Proof", "Row",
    "SpeedRow", "SuggestionRow", "check_design", "measure_speed", "measure_suggestions", "prove_guide",
]  # fmt: skip
