"""Proofs about the program itself: how fast it solves, beside a general circuit simulator."""

from .speed import SpeedRow, measure_speed

__all__ = ["SpeedRow", "measure_speed"]
