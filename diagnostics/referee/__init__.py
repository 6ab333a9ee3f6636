"""The referee: worlds wider than the engine's, ways of working that play in them, and whole visits, counted.

It never imports the engine: it asks it through words and JSON objects, on a line that whoever starts it holds.
"""

from .draft import NotPlayedError
from .line import Ask, Line, RefusedError, Row
from .panel import NeverSettlesError
from .plants import STYLES, Plant, draw_plant, list_sites
from .policies import POLICIES
from .spreads import read_spreads
from .visit import UnseenError, Visit, play_visit, tell_visit
from .world import Signals, World, build_world

__all__ = [
    "POLICIES", "STYLES", "Ask", "Line", "NeverSettlesError", "NotPlayedError", "Plant", "RefusedError", "Row",
    "Signals", "UnseenError", "Visit", "World", "build_world", "draw_plant", "list_sites", "play_visit", "read_spreads",
    "tell_visit",
]  # fmt: skip
