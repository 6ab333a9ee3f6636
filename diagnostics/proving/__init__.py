"""Proofs about the program itself: finding guides against the loop model, and speed beside a circuit simulator."""

from .prove import EVERYTHING, MEANS, GuideProof, Proof, prove_guide
from .speed import SpeedRow, measure_speed
from .suggest import SuggestionRow, measure_suggestions

__all__ = [
    "EVERYTHING",
    "MEANS",
    "GuideProof",
    "Proof",
    "SpeedRow",
    "SuggestionRow",
    "measure_speed",
    "measure_suggestions",
    "prove_guide",
]
