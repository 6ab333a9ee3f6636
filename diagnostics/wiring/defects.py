"""Defects of the installation itself, there whatever the complaint was; the panel cannot see them."""

from .loop import Loop
from .site import Reset, Style


def find_defects(loop: Loop) -> tuple[str, ...]:
    """Return the names of the silent defects that the description shows.

    *supply_not_supervised*: four-wire detectors whose power pair ends without a supervision relay, so that an open in
    it shows nothing at the panel. *never_reset*: four-wire detectors that nothing drops on reset.
    """
    found = []
    if loop.spec.style is Style.FOUR_WIRE_ZONE and loop.spec.end_relay is None:
        found.append("supply_not_supervised")
    if loop.spec.style is Style.FOUR_WIRE_ZONE and loop.spec.reset is Reset.ALWAYS_ON:
        found.append("never_reset")
    return tuple(found)
