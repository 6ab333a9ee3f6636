"""What a module makes of its loop where the volts lie near a bound of its windows: more than one word is possible."""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import Settled
from diagnostics.wiring import Channel, Zone

from .measurement import STATES

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
ByBand = Callable[[Channel | Zone, Array, Array], Array]
_NORMAL, _TROUBLE, _ALARM = (STATES.index(word) for word in ("normal", "trouble", "alarm"))


def find_leanings(settled: Settled, spreads: Mapping[str, Array], by_band: ByBand) -> dict[str, tuple[Array, Array]]:
    """Return what each zone behind a module is told, (column,), and what it may be told, (column, state), by its name.

    ``spreads`` are one sd (V) of the volts of each channel by its name; ``by_band`` rates the words of volts. Trouble
    on any channel opens both outputs; an alarm closes that of its label, see ``Module``.
    """
    loop = settled.network.loop
    module, behind = loop.module, loop.module_chain
    if module is None or behind is None:
        return {}
    powered = settled.signal(f"{module.name}.operated")
    chances = {c: by_band(c, settled.volts(c.plus, c.minus), spreads[c.name]) for c in module.channels}
    sound = np.prod([1 - chance[:, _TROUBLE] for chance in chances.values()], axis=0)
    is_co = np.zeros_like(powered)
    for detector in (d for d in behind.detectors if d.senses == "co"):
        is_co |= settled.signal(f"{detector.name}.latched")
    found = {}
    for label, zone in (("fire", behind.spec.zone), ("co", behind.spec.co_zone)):
        if zone is None:
            continue
        told = np.where(settled.signal(f"{module.name}.{label}"), _ALARM, _NORMAL)
        told = np.where(settled.signal(f"{module.name}.trouble"), _TROUBLE, told)
        own = [_rate_alarm(c.label, label, chance, is_co) for c, chance in chances.items()]
        alarm = sound * (1 - np.prod([1 - share for share in own], axis=0))
        may = np.zeros((powered.size, len(STATES)))
        may[:, _TROUBLE], may[:, _ALARM] = 1 - sound, alarm
        may[:, _NORMAL] = sound - alarm
        may[~powered] = np.eye(len(STATES))[told[~powered]]
        found[zone] = (told, may)
    return found


def _rate_alarm(own: str, label: str, chance: Array, is_co: Flags) -> Array:
    """Return how likely a channel that is in no trouble tells an alarm of a label; without one its detectors say."""
    share: Array = chance[:, _ALARM] / np.maximum(1 - chance[:, _TROUBLE], 1e-12)
    if own:
        return share if own == label else np.zeros_like(share)
    return np.where(is_co == (label == "co"), share, 0.0)


def find_gravest(leanings: Mapping[str, tuple[Array, Array]]) -> tuple[Array, Array] | None:
    """Return what the panel as a whole is told by a module, (column,), and may be, (column, state); None without one.

    Trouble opens both outputs at once, so both zones show it or neither does.
    """
    if not leanings:
        return None
    told = np.array([each[0] for each in leanings.values()])
    may = np.array([each[1] for each in leanings.values()])
    whole = np.zeros_like(may[0])
    whole[:, _TROUBLE] = may[0][:, _TROUBLE]
    whole[:, _ALARM] = np.minimum(may[:, :, _ALARM].sum(axis=0), 1 - whole[:, _TROUBLE])
    whole[:, _NORMAL] = 1 - whole.sum(axis=1)
    gravest = np.where(
        (told == _ALARM).any(axis=0), _ALARM, np.where((told == _TROUBLE).any(axis=0), _TROUBLE, _NORMAL)
    )
    return gravest, whole


def lean(chance: Array, told: Array, may: Array) -> Array:
    """Return chances of a zone, (column, state), with what the module may tell it instead mixed in.

    Where the zone shows another word than it is told, its own side decides, and nothing is mixed in.
    """
    rows = np.arange(told.size)
    follows = chance.argmax(axis=1) == told
    instead = may.copy()
    instead[rows, told] = 0.0
    mixed: Array = np.where(follows[:, None], may[rows, told][:, None] * chance + instead, chance)
    return mixed
