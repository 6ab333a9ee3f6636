"""What is installed: parts, site files, elements, terminals, the loop and its edits."""

from .build import build_bands, build_loop
from .defects import find_defects
from .describe import ASSUMED, QuickDescription, build_quick_site
from .edits import Add, Edit, Edits, Hold, Move, Remove, SetResistance
from .elements import (
    EARTH,
    Band,
    Battery,
    Channel,
    Curve,
    Detector,
    EarthWatch,
    Element,
    Gate,
    How,
    Kind,
    Module,
    Relay,
    Spread,
    Zone,
)
from .field import find_detector_part
from .loads import build_clamp_curve
from .loop import Chain, Loop, apply_edits
from .parts import MOST_V, Attribute, Part, build_part, read_parts
from .site import UNUSED, LoopSpec, PartSpec, Reset, Site, Style, parse_site, read_site
from .tolerance import discharge_battery, find_limit_a, lift_limits, multiply_load, shift_unknowns

__all__ = [
    "ASSUMED", "EARTH", "MOST_V", "UNUSED", "Add", "Attribute", "Band", "Battery", "Chain", "Channel", "Curve",
    "Detector", "EarthWatch", "Edit", "Edits", "Element", "Gate", "Hold", "How", "Kind", "Loop", "LoopSpec", "Module",
    "Move", "Part", "PartSpec", "QuickDescription",
    "Relay", "Remove", "Reset", "SetResistance", "Site", "Spread", "Style", "Zone", "apply_edits", "build_bands",
    "build_clamp_curve", "build_loop", "build_part", "build_quick_site", "discharge_battery", "find_defects",
    "find_detector_part", "find_limit_a", "lift_limits", "multiply_load", "parse_site", "read_parts", "read_site",
    "shift_unknowns",
]  # fmt: skip
