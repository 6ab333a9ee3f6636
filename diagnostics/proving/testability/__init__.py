"""Testability: what a panel cannot see, what measurements cannot separate, and the least set that does the rest."""

from .apart import Apart, tell_apart
from .blind import SURE, How, Unseen, find_blind, list_unseen
from .check import PURPOSES, Alike, Kit, Least, Purpose, Testability, build_work, check_testability, find_least
from .cover import Cover, Work, find_fewest, find_quickest, pack_rows, reduce_rows, unpack_rows

__all__ = [
    "PURPOSES", "SURE", "Alike", "Apart", "Cover", "How", "Kit", "Least", "Purpose", "Testability", "Unseen", "Work",
    "build_work", "check_testability", "find_blind", "find_fewest", "find_least", "find_quickest", "list_unseen",
    "pack_rows", "reduce_rows", "tell_apart", "unpack_rows",
]  # fmt: skip
