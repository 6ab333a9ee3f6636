"""Cautions as they are told: for whoever hears them, each once, most severe first."""

from collections.abc import Collection

from diagnostics.visit import Listener

from .word_table import Region, read_words


def tell_caution(name: str, region: Region = "north_america", listener: Listener = "technician") -> tuple[str, str]:
    """Return the title of a caution, and the caution in full, as it is meant for whoever hears it."""
    table = read_words(region)
    own = table.caller_cautions if listener == "caller" else {}
    return table.caution_titles[name], own.get(name, table.cautions[name]).format(**table.regions[region])


def tell_cautions(
    names: Collection[str], region: Region = "north_america", listener: Listener = "technician"
) -> tuple[tuple[str, str], ...]:
    """Return the title and the words of cautions, each once, most severe first.

    Two that say the same of the same people are one; a caller, who has words of one's own, is told each by itself.
    """
    table = read_words(region)
    told = {name: tell_caution(name, region, listener) for name in table.cautions if name in names}
    for pair, joined in table.joined_cautions.items() if listener == "technician" else ():
        first, second = pair.split(" + ")
        if first in told and second in told:
            told[first] = joined.title, joined.text.format(**table.regions[region])
            del told[second]
    return tuple(told.values())
