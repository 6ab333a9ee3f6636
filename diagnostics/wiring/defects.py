"""Defects of the installation itself, there whatever the complaint was; the panel cannot see them."""

from .loop import Loop
from .site import Reset


def find_defects(loop: Loop) -> tuple[str, ...]:
    """Return the names of the silent defects that the description shows.

    *supply_not_supervised*: four-wire detectors, on a zone or behind a module, whose power pair ends without a
    supervision relay, so that an open in it shows nothing at the panel. *never_reset*: detectors, or a module, that
    nothing drops on reset. *spur_not_supervised*: detectors on a T-tap, where an open shows nothing.
    *co_reports_nowhere*: CO detectors behind a module whose CO output goes to no zone.
    """
    found = []
    if any(chain.spec.style.has_power_pair and not chain.end_relay for chain in loop.chains):
        found.append("supply_not_supervised")
    if loop.reset is Reset.ALWAYS_ON:
        found.append("never_reset")
    if any(d.on_spur for d in loop.detectors):
        found.append("spur_not_supervised")
    behind = loop.module_chain
    if behind is not None and behind.spec.co_zone is None and any(d.senses == "co" for d in behind.detectors):
        found.append("co_reports_nowhere")
    return tuple(found)
