"""Rooms of a quick description: one a line, in the order of the wiring."""

from collections.abc import Sequence
from typing import Final

from diagnostics.errors import SiteError
from diagnostics.wiring import Site
from diagnostics.wiring.site import DetectorSpec

LONGEST_ROOM: Final = 120


def lacks_rooms(site: Site) -> bool:
    """Return whether nobody has named a room yet, on a single loop whose order is known: each can be named."""
    return len(site.loops) == 1 and site.loops[0].count is not None and site.loops[0].order == "known"


def parse_rooms(text: str) -> tuple[str, ...]:
    """Return the rooms of a text, one a line; an empty line between two is a detector whose room nobody named."""
    return tuple(line.strip()[:LONGEST_ROOM] for line in text.strip().splitlines())


def find_twice(rooms: Sequence[str]) -> str:
    """Return the first room that is named twice, whatever its capital letters, or an empty text."""
    seen: set[str] = set()
    for room in rooms:
        known = room.strip().casefold()
        if known and known in seen:
            return room.strip()
        seen.add(known)
    return ""


def name_rooms(site: Site, rooms: tuple[str, ...]) -> Site:
    """Return a site whose first detectors are in these rooms; those beyond the list have no name.

    Raises
    ------
    SiteError
        There are more rooms than detectors, or two of one name: nobody could say which is meant.
    """
    (loop,) = site.loops
    count = len(loop.all_detectors)
    if not rooms:
        return site
    if len(rooms) > count:
        message = f"{len(rooms)} rooms are named, and there are {count} detectors"
        raise SiteError(message, hint="write one room a line, or correct the number of detectors")
    twice = find_twice(rooms)
    if twice:
        raise SiteError(f"“{twice}” is named twice", hint=f"tell them apart, {twice} 1 and {twice} 2 for instance")
    named = tuple(DetectorSpec(room=room) for room in (*rooms, *[""] * (count - len(rooms))))
    return site.model_copy(update={"loops": (loop.model_copy(update={"count": None, "detectors": named}),)})
