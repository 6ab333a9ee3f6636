"""What a test at each detector of a loop shows under each hypothesis, told by halving rather than one by one.

Along a loop nothing jumps but where a fault sits: what a test shows at two detectors of one sort to one side of it, it
shows at all between them, unless volts pass through a whole window of the panel's on the way. So some are asked all
along, those where a fault sits and their neighbours, and more wherever two do not tell the same.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Bench, Forecast, Measurement
from diagnostics.wiring import Chain, Loop

Flags = NDArray[np.bool_]
Array = NDArray[np.float64]
Tell = Callable[[Forecast], Array]

LIKELY = 0.5  # what is likelier than not shows
# Two chances on one side of that which differ by no more are told to be the same all the way between them; invented.
ALIKE = 0.05
STRETCHES = 6  # so many the detectors of one sort are parted into at first; invented
LEAST_STRETCH = 5  # detectors in each of them at least; invented


def find_along(bench: Bench, tests: Sequence[Measurement], tell: Tell) -> Array:
    """Return what ``tell`` makes of the forecast of each test, one at each of some detectors, (test, hypothesis)."""
    told = np.zeros((len(tests), len(bench.hypotheses)))
    at = {m.at: n for n, m in enumerate(tests)}
    near = [
        {at[name] for name in _list_words([f.place for f in faults], touched) if name in at}
        for faults, touched in zip(bench.hypotheses, bench.touched, strict=True)
    ]
    everywhere = np.array([any(fault.ties_apart for fault in faults) for faults in bench.hypotheses])
    for sort in _list_sorts(bench.loop, at):
        first = np.zeros((len(sort), len(bench.hypotheses)), dtype=np.bool_)
        first[:, everywhere] = True
        first[:: max(LEAST_STRETCH, len(sort) // STRETCHES)] = True
        first[[*range(len(sort))[:2], *range(len(sort))[-2:]]] = True
        row_of = np.array(sort)
        for n, some in enumerate(near):
            for row in some:
                after = int(np.searchsorted(row_of, row))
                first[max(0, after - 1) : after + 2, n] = True
        told[sort] = _halve(bench, [tests[row] for row in sort], tell, first)
    return told


def _halve(bench: Bench, tests: Sequence[Measurement], tell: Tell, first: Flags) -> Array:
    """Return what tests of one sort tell, the ``first`` asked, then half-way between any two that tell not the same."""
    told, known, ask = np.zeros(first.shape), np.zeros(first.shape, dtype=np.bool_), first
    while ask.any():
        asked = [(row, np.flatnonzero(ask[row])) for row in range(len(tests)) if ask[row].any()]
        made = bench.forecast_each([(tests[row], some) for row, some in asked])
        for (row, some), forecast in zip(asked, made, strict=True):
            told[row, some] = tell(forecast)
        known |= ask
        ask = _find_between(known, told)
    for row in range(1, len(tests)):
        told[row] = np.where(known[row], told[row], told[row - 1])
    return told


def _find_between(known: Flags, told: Array) -> Flags:
    """Return what is asked next: half-way between two neighbours among the known that do not tell the same."""
    ask = np.zeros(known.shape, dtype=np.bool_)
    last, every = np.zeros(known.shape[1], dtype=np.intp), np.arange(known.shape[1])
    for row in range(1, len(known)):
        before = told[last, every]
        differs = (np.abs(told[row] - before) > ALIKE) | ((told[row] > LIKELY) != (before > LIKELY))
        parted = known[row] & (row - last > 1) & differs
        ask[(row + last)[parted] // 2, every[parted]] = True
        last = np.where(known[row], row, last)
    return ask


def _list_words(places: Iterable[str], touched: Iterable[str]) -> set[str]:
    """Return the words of some names, detectors' among them."""
    return {word for text in (*places, *touched) for word in _split(text)}


@lru_cache(maxsize=4096)
def _split(name: str) -> tuple[str, ...]:
    return tuple(re.split(r"[.+:-]", name))


def _list_sorts(loop: Loop, at: dict[str, int]) -> list[list[int]]:
    """Return the tests at detectors of one loop and one sort, in their order."""
    sorts: dict[tuple[int, str], list[int]] = {}
    for n, chain in enumerate(loop.chains):
        for name, sort in _tell_sorts(loop, chain).items():
            if name in at:
                sorts.setdefault((n, sort), []).append(at[name])
    return list(sorts.values())


def _tell_sorts(loop: Loop, chain: Chain) -> dict[str, str]:
    """Return what detectors are made of, names left out, by their names: the same text is the same sort."""
    made = {d.name: [repr(d).replace(d.name, "").replace(repr(d.label), "")] for d in chain.detectors}
    for element in loop.elements:
        name = element.name.partition(".")[0]
        if name in made:
            made[name].append(repr(element).replace(name, ""))
    return {name: "\n".join(parts) for name, parts in made.items()}
