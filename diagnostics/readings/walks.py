"""What a walk past the detectors of a loop finds: which are dark, and whose lamps show alarm."""

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from diagnostics.circuit import Settled, find_powered

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Said = tuple[tuple[str, float], ...]
_SHARES = 15  # into so many equally likely parts what all volts share is cut


def find_dark_sets(settled: Settled, names: Sequence[str]) -> list[str]:
    """Return which of some detectors are dark, one text per column (see ``write_dark_set``)."""
    powered = find_powered(settled)
    if not names:
        return [write_dark_set(())] * settled.columns.size
    return _write_sets(names, np.stack([~powered[n] for n in names], axis=1))


def find_dark_chances(settled: Settled, spreads: Mapping[str, Array]) -> list[Said]:
    """Return which detectors are dark in standby, per column: each list that may well be seen, with its chance.

    ``spreads`` are one sd (V) of the volts of each detector that is walked past. What spreads them is shared (a joint's
    value, the supply), so all are moved together, over a few equally likely shares of it.
    """
    names = list(spreads)
    moved = ndtri((np.arange(_SHARES) + 0.5) / _SHARES)
    dark = np.stack([_is_dark(settled, n, spreads[n][:, None] * moved[None]) for n in names])
    return [_spell_out(names, dark[:, column]) for column in range(dark.shape[1])]


def _is_dark(settled: Settled, name: str, moved_v: Array) -> Flags:
    """Return whether a detector is dark with its volts moved, (column, share)."""
    d = next(d for d in settled.network.loop.detectors if d.name == name)
    across = settled.volts(d.plus, d.minus)
    across = np.abs(across) if d.either_way else across
    there = ~settled.signal(f"{name}.dead") & ~settled.signal(f"{name}.head_off")
    lit = there[:, None] & (across[:, None] + moved_v >= d.powered_v)
    dark: Flags = ~lit & ~settled.signal(f"{name}.latched")[:, None]
    return dark


def _spell_out(names: Sequence[str], dark: Flags) -> Said:
    """Return each list of dark detectors that occurs over the shares, (detector, share), and how often."""
    seen = Counter(_write_sets(names, dark.T))
    return tuple((text, count / dark.shape[1]) for text, count in seen.items())


def count_detectors(said: Said) -> Said:
    """Return the same with numbers of detectors for lists of them."""
    counts: dict[str, float] = {}
    for text, share in said:
        number = "0" if text == "none" else str(text.count(",") + 1)
        counts[number] = counts.get(number, 0.0) + share
    return tuple(counts.items())


def find_lit_sets(settled: Settled, names: Sequence[str]) -> list[str]:
    """Return which detectors' lamps, of some, show alarm, one text per column (see ``write_dark_set``)."""
    return _write_sets(names, np.stack([settled.signal(f"{n}.latched") for n in names], axis=1))


def _write_sets(names: Sequence[str], there: Flags) -> list[str]:
    """Return which detectors are there, (row, detector), one text per row; those that are the same are written once."""
    known: dict[bytes, str] = {}
    found = []
    for row in there:
        same = row.tobytes()
        if same not in known:
            known[same] = write_dark_set([n for n, on in zip(names, row, strict=True) if on])
        found.append(known[same])
    return found


def write_dark_set(names: Sequence[str]) -> str:
    """Return a list of detectors as an answer: names in order, separated by commas, or ``none``."""
    return ",".join(sorted(names, key=lambda n: int(n.removeprefix("det")))) or "none"
