"""Where a repair that is told in plain words was made, as far as the words leave no doubt about it."""

import re
from typing import Final

from diagnostics.wiring import Loop

# Words that name a place, whole or as a beginning. In doubt a place is one of both: what is told of wires, resistors or
# relays alone may have been anywhere.
_UP_THERE: Final = re.compile(r"\b(det(ector)?s?\.?\s*\d*\b|heads?\b(?!.?end)|base\b|ceiling)", re.IGNORECASE)
_AT_PANEL: Final = re.compile(
    r"\b(panel|cabinet|enclosure|zone|batter|charger|mains|breaker|suppl|psu|fuse|relay|module|setting|program|config"
    r"|output|reset|board|card|display|keypad|aux|earth|ground|terminal (block|strip))",
    re.IGNORECASE,
)
_ANYWHERE: Final = re.compile(
    r"\b(wire|wiring|cable|conductor|core|joint|splice|junction|resistor|eol|end|loop|relay|module|short|contact|screw"
    r"|room|hall|corridor|floor|stair|upstairs|roof|loft|attic|call.?point|pull.?station|sounder|bell|strobe|beacon)",
    re.IGNORECASE,
)


def list_spared(text: str, loop: Loop) -> frozenset[str]:
    """Return the cautions of a place that a repair told in words cannot need; none where the words leave a doubt.

    Who names a detector, or its room, and nothing of the panel did not open the cabinet; who names the panel, and
    nothing that may hang elsewhere, did not climb.
    """
    rooms = [d.label for d in loop.detectors if d.label]
    up_there = bool(_UP_THERE.search(text)) or any(_names(room, text) for room in rooms)
    at_panel = bool(_AT_PANEL.search(text))
    if up_there and not at_panel:
        return frozenset({"live_cabinet"})
    return frozenset({"ladder"}) if at_panel and not up_there and not _ANYWHERE.search(text) else frozenset()


def _names(room: str, text: str) -> bool:
    return re.search(rf"\b{re.escape(room)}\b", text, re.IGNORECASE) is not None
