"""Invented loops for tests, described as a technician would describe them."""

from functools import cache

from diagnostics.wiring import Loop, QuickDescription, Site, build_loop, build_quick_site

STYLES = ("two_wire_zone", "four_wire_zone")


@cache
def build_quick(style: str, detectors: int, reset: str = "relay", end_relay: str = "yes") -> Site:
    """Return a site with everything known: 4.7 kΩ, 18 AWG, 10 m between neighbours."""
    answers = QuickDescription(style, str(detectors), "4.7 kΩ", "18 AWG", "10 m", reset, end_relay)
    return build_quick_site(answers)[0]


@cache
def wire_quick(style: str, detectors: int, reset: str = "relay", end_relay: str = "yes") -> Loop:
    """Return the loop of ``build_quick``."""
    return build_loop(build_quick(style, detectors, reset, end_relay))
