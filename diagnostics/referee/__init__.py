"""The referee: worlds wider than the engine's, ways of working that play in them, and whole visits, counted.

It never imports the engine: it asks it through words and JSON objects, on a line that whoever starts it holds.
"""

from .answers import Person
from .came_out import Out, measure_out
from .draft import NotPlayedError
from .line import Ask, Line, RefusedError, Row
from .outside import OUTSIDE, PREFIX, STRANGE, NoRoomError
from .panel import NeverSettlesError, mode_states, zones_show
from .people import find_complaint, find_healthy_complaint, find_sound_seed
from .plants import STYLES, Plant, draw_fault, draw_plant, list_sites
from .policies import POLICIES
from .rounds import find_round_minutes, find_still, find_told, play_round
from .score import has_right_hands
from .spreads import BelievedSlips, Spreads, read_spreads
from .visit import UnseenError, Visit, find_minutes, play_visit, tell_visit
from .world import Signals, World, build_world

__all__ = [
    "OUTSIDE", "POLICIES", "PREFIX", "STRANGE", "STYLES", "Ask", "BelievedSlips", "Line", "NeverSettlesError",
    "NoRoomError", "NotPlayedError", "Out", "Person", "Plant", "RefusedError", "Row", "Signals", "Spreads",
    "UnseenError", "Visit", "World", "build_world", "draw_fault", "draw_plant", "find_complaint",
    "find_healthy_complaint", "find_minutes", "find_round_minutes", "find_sound_seed", "find_still", "find_told",
    "has_right_hands", "list_sites", "measure_out", "mode_states", "play_round", "play_visit", "read_spreads",
    "tell_visit", "zones_show",
]  # fmt: skip
