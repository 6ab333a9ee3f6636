"""All hypotheses wired up and settled once: circuit and faults in, forecasts out, each made once; shared by views."""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import (
    STANDBY,
    Mode,
    Settled,
    Shown,
    Step,
    apply_steps,
    build_opening,
    read_meter,
    to_ohms,
    work_together,
)
from diagnostics.faults import Fault
from diagnostics.wiring import EARTH, Channel, Loop, Zone

from .batches import Batches
from .data import Meter
from .forecast import METER_ROWS, Forecast, build_meter_input, find_leads
from .measurement import COUNTED, CUTS, EARTH_LAMP, WALKS, Measurement, build_lamp, build_test, list_walked
from .meter import find_kept_sd
from .pieces import Deed, There, cut_deeds, gather_by_place
from .states import (
    blur,
    find_ac,
    find_click_chances,
    find_earth_chances,
    find_lamp_chances,
    find_log_chances,
    find_night_chances,
    find_sight_chances,
    find_supply_chances,
    find_test_chances,
    find_zone_chances,
)
from .swap import find_fates, find_swap_chances, rate_signs
from .walks import Said, count_detectors, find_dark_chances, find_dark_sets, find_lit_sets

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Faults = tuple[Fault, ...]
Words = tuple[tuple[str, ...], Array]

RESET = Mode("during_reset")
# What eyes and a meter on AC find depends on the name of a fault; everything else on the circuit alone.
SIGHTS = frozenset({"look", "settings", "ac_volts"})
# What is forecast fault by fault: sights, two heads swapped, where it matters whether a fault lives in the head, and a
# night, in which AC swings what no DC reading shows.
BY_FAULT = SIGHTS | {"heads_swapped", "overnight"}
# What the panel says of earth faults: nothing, where no fault joins anything to earth.
EARTHY = frozenset({"earth_lamp", "earth_lifted", "earth_opened"})
_AT_DETECTORS = {"functional_test": "smoke", "head_off": "head_off", "dark_with_head_off": "head_off"}


@dataclass(slots=True)
class _File:
    """What is known of one measurement so far: a row per circuit (a sight: per hypothesis), and which are there."""

    known: Flags
    mean: Array | None = None
    slopes: Array | None = None
    tokens: tuple[str, ...] = ()
    chance: Array | None = None
    said: NDArray[np.object_] | None = None


class Core:
    """The hypotheses wired up and settled once, and every forecast row that was ever asked for; shared by views."""

    def __init__(self, loop: Loop, hypotheses: Sequence[Faults], meter: Meter) -> None:
        self.loop = loop
        self.hypotheses = tuple(hypotheses)
        self.meter = meter
        self._batches = Batches(loop, hypotheses)
        self.lock = threading.RLock()
        self._files: dict[str, _File] = {}

    def list_touched(self, numbers: Index) -> tuple[frozenset[str], ...]:
        """Return the names of the elements and signals that some hypotheses edit."""
        return tuple(self._batches.touched[n] for n in self._batches.circuit[numbers])

    def forecast(self, measurements: Sequence[Measurement], numbers: Index) -> tuple[Forecast, ...]:
        """Return forecasts of some hypotheses, making only the rows that are not there yet."""
        return self.forecast_each([(m, numbers) for m in measurements])

    def forecast_each(self, asked: Sequence[tuple[Measurement, Index]]) -> tuple[Forecast, ...]:
        """Return forecasts, each of hypotheses of its own."""
        circuit = self._batches.circuit
        return self._forecast([(m, numbers if m.kind in BY_FAULT else circuit[numbers]) for m, numbers in asked])

    def _forecast(self, asked: Sequence[tuple[Measurement, Index]]) -> tuple[Forecast, ...]:
        """Return forecasts of some rows each: numbers of circuits, of hypotheses for a sight."""
        groups: dict[tuple[str, str, bytes], list[Measurement]] = {}
        at_detectors: dict[tuple[str, str, int], list[There]] = {}
        for m, rows in asked:
            missing = np.unique(rows[~self._find_file(m).known[rows]])
            is_there = m.kind in _AT_DETECTORS or (m.mode.word in CUTS and m.kind not in EARTHY)
            parts = self._batches.part(missing) if m.kind not in BY_FAULT else [missing] if missing.size else []
            for part in parts:
                if is_there:
                    batch = self._batches.find_batch(part)
                    at_detectors.setdefault((m.kind, m.mode.word, batch), []).append((m, part))
                else:
                    own_mode = m.mode.word if m.kind in EARTHY else m.mode.text
                    groups.setdefault((m.kind, own_mode, part.tobytes()), []).append(m)
        for some_there in at_detectors.values():
            self._file_at_detectors(some_there)
        for (_, _, some_rows), some in groups.items():
            self._make(some, np.frombuffer(some_rows, dtype=np.intp))
        return tuple(self._read(m, rows) for m, rows in asked)

    def _find_file(self, m: Measurement) -> _File:
        return self._files.setdefault(m.key, _File(np.zeros(self._count_rows(m.kind), dtype=np.bool_)))

    def _count_rows(self, kind: str) -> int:
        return len(self.hypotheses) if kind in BY_FAULT else self._batches.size

    def _read(self, m: Measurement, numbers: Index) -> Forecast:
        file = self._files[m.key]
        if file.mean is not None and file.slopes is not None:
            return Forecast(m, mean=file.mean[numbers], slopes=file.slopes[:, numbers])
        if file.said is not None:
            tokens = sorted({text for n in numbers for text, _ in file.said[n]})
            at = {text: column for column, text in enumerate(tokens)}
            chance = np.zeros((numbers.size, len(tokens) + 1))
            for row, n in enumerate(numbers):
                for text, share in file.said[n]:
                    chance[row, at[text]] = share
            return Forecast(m, tokens=(*tokens, "other"), chance=blur(chance, m.data.misread))
        if file.chance is None:
            raise TypeError(f"{m.kind} was never forecast")
        return Forecast(m, tokens=file.tokens, chance=blur(file.chance[numbers], m.data.misread))

    def _make(self, some: list[Measurement], numbers: Index) -> None:
        """Make rows of measurements of one kind, and of one mode if that mode has no detector."""
        if some[0].kind in SIGHTS:
            for m in some:
                self._file_words(m, numbers, find_sight_chances(self.loop, m, [self.hypotheses[n] for n in numbers]))
        elif some[0].kind in BY_FAULT:
            file = self._file_swap if some[0].beside else self._file_night
            for m in some:
                file(m, numbers)
        else:
            self._make_in_circuit(some, numbers)

    def _file_night(self, m: Measurement, numbers: Index) -> None:
        """File what MIN/MAX of a zone show in the morning, against its volts with nothing wrong."""
        zone = next(z for z in self.loop.zones if z.name == m.at)
        volts = Measurement("volts", red=zone.plus, black=zone.minus)
        known = self._number_of.get(())
        (usual,) = (
            Core(self.loop, [()], self.meter).forecast([volts], np.array([0]))
            if known is None
            else self.forecast([volts], np.array([known]))
        )
        (shown,) = self.forecast([volts], numbers)
        swings = np.array([find_ac(self.hypotheses[n], m.at) for n in numbers])
        self._file_words(m, numbers, find_night_chances(shown, usual, swings))

    def _file_swap(self, m: Measurement, numbers: Index) -> None:
        """File which of two places is in alarm, dark or silent once heads are swapped: faults moved, cured or left."""
        fate = find_fates(self.loop, [self.hypotheses[n] for n in numbers], (m.at, m.beside))
        known = [n for n, h in enumerate(fate.every) if h in self._number_of]
        rest = [n for n, h in enumerate(fate.every) if h not in self._number_of]
        seen = np.zeros((2, 2, len(fate.every)))
        if known:
            own = np.array([self._number_of[fate.every[n]] for n in known], dtype=np.intp)
            seen[..., known] = self._rate_places((m.at, m.beside), own)
        if rest:  # of two faults at once one has moved, and nobody has wired that up yet
            other = Core(self.loop, [fate.every[n] for n in rest], self.meter)
            seen[..., rest] = other._rate_places((m.at, m.beside), np.arange(len(rest)))
        self._file_words(m, numbers, find_swap_chances(fate, seen))

    @cached_property
    def _number_of(self) -> dict[Faults, int]:
        return {h: n for n, h in enumerate(self.hypotheses)}

    def _rate_places(self, names: tuple[str, str], numbers: Index) -> Array:
        """Return the chances of alarm, and of dark or silent, at each of two places, (place, sign, number)."""
        circuits = self._batches.circuit[numbers]
        asked = [(build_lamp(name), build_test(name)) for name in names]
        self._forecast([(m, circuits) for pair in asked for m in pair])
        detectors = {d.name: d for d in self.loop.detectors}
        return np.stack([
            rate_signs(detectors[name], *(self._tell_words(m, circuits) for m in pair))
            for name, pair in zip(names, asked, strict=True)
        ])  # fmt: skip

    def _tell_words(self, m: Measurement, circuits: Index) -> Words:
        file = self._files[m.key]
        if file.chance is None:
            raise TypeError(f"{m.kind} gives no words")
        return file.tokens, file.chance[circuits]

    def _make_in_circuit(self, some: list[Measurement], numbers: Index) -> None:
        kind = some[0].kind
        if kind in EARTHY:
            self._file_earth(some, numbers)
        elif kind in {"volts", "ohms"}:
            self._file_shown(some, numbers, self._read_shown(some, self._batches.take(numbers, some[0].mode)))
        elif kind in WALKS:
            for m in some:
                self._file_said(m, numbers, self._walk(m, numbers))
        else:
            settled = self._batches.take(numbers, some[0].mode)
            if kind == "lamp":
                lamps = {d.name: (d.plus, d.minus) for d in self.loop.detectors}
                self._find_spreads({m.at: lamps[m.at] for m in some}, numbers)
            for m in some:
                self._file_words(m, numbers, self._find_chances(m, numbers, settled))

    def _file_earth(self, some: list[Measurement], numbers: Index) -> None:
        """File what the panel says of earth faults, in standby or with cable lifted or opened.

        Where no fault joins anything to earth, only the panel's two equal resistors do: it lies in the middle, always.
        """
        earthed = self._batches.earthed[numbers]
        for m in some:
            self._file_words(m, numbers[~earthed], (EARTH_LAMP, _build_balanced(int((~earthed).sum()))))
        rest = numbers[earthed]
        if rest.size and some[0].kind == "earth_opened":
            self._file_at_detectors([(m, rest) for m in some])
        for m in some if rest.size and some[0].kind != "earth_opened" else ():
            self._file_words(m, rest, self._find_earth(rest, m.mode))

    def _walk(self, m: Measurement, numbers: Index) -> list[Said]:
        """Return what a walk past the detectors of a loop finds: which are dark, or which lamps show alarm."""
        stands = self._batches.take(numbers, m.mode)
        walked = {d.name: (d.plus, d.minus) for d in list_walked(m, self.loop)}
        if m.kind in {"which_lit", "how_many_lit"}:
            return _count(m, [((text, 1.0),) for text in find_lit_sets(stands, list(walked))])
        return _count(m, find_dark_chances(stands, self._find_spreads(walked, numbers)))

    def _find_chances(self, m: Measurement, numbers: Index, settled: Settled) -> Words:
        if m.kind == "lamp":
            d = next(d for d in self.loop.detectors if d.name == m.at)
            return find_lamp_chances(settled, m.at, self._find_spreads({m.at: (d.plus, d.minus)}, numbers)[m.at])
        if m.kind == "listen":
            return find_click_chances(self._batches.take(numbers), settled)
        if m.kind in {"supply_lamps", "event_log"}:
            said = find_supply_chances(settled, self._batches.take(numbers, Mode("on_battery")))
            return said if m.kind == "supply_lamps" else find_log_chances(settled, said[1], self._log_earth(numbers))
        name = "" if m.at == "panel" else m.at
        if m.kind != "panel_shows":
            return find_zone_chances(settled, name)
        pairs: list[Zone | Channel] = [*self.loop.zones, *(self.loop.module.channels if self.loop.module else ())]
        spreads = self._find_spreads({p.name: (p.plus, p.minus) for p in pairs}, numbers)
        return find_zone_chances(settled, name, spreads=spreads)

    def _find_earth(self, numbers: Index, mode: Mode) -> Words:
        """Return the chances of what the panel says of earth faults; in standby all unknowns spread its volts."""
        watch = self.loop.earth if mode == STANDBY else None
        spread_v = self._find_spreads({EARTH: (watch.plus, EARTH)}, numbers)[EARTH] if watch else 0.0
        return find_earth_chances(self._batches.take(numbers, mode), spread_v)

    def _log_earth(self, numbers: Index) -> Array:
        """Return the chances of what the log holds of earth faults, (circuit, answer)."""
        earthed, chance = self._batches.earthed[numbers], _build_balanced(numbers.size)
        if earthed.any():
            chance[earthed] = self._find_earth(numbers[earthed], STANDBY)[1]
        return chance

    def _find_spreads(self, ends: Mapping[str, tuple[str, str]], numbers: Index) -> dict[str, Array]:
        """Return one sd (V) of the volts between each two terminals in standby, from all shared unknowns, by name.

        All are forecast together: one elimination serves them.
        """
        asked = [(Measurement("volts", red=red, black=black), numbers) for red, black in ends.values()]
        return {name: f.loop_spread for name, f in zip(ends, self._forecast(asked), strict=True)}

    def _file_words(self, m: Measurement, numbers: Index, chances: Words) -> None:
        file = self._files[m.key]
        file.tokens = chances[0]
        chance = np.zeros((self._count_rows(m.kind), len(file.tokens))) if file.chance is None else file.chance
        chance[numbers] = chances[1]
        file.chance = chance
        file.known[numbers] = True

    def _file_said(self, m: Measurement, numbers: Index, said: list[Said]) -> None:
        file = self._files[m.key]
        every = np.full(self._count_rows(m.kind), None, dtype=object) if file.said is None else file.said
        for n, lists in zip(numbers, said, strict=True):
            every[n] = lists
        file.said = every
        file.known[numbers] = True

    def _read_shown(self, some: Sequence[Measurement], settled: Settled) -> Shown:
        """Return what a meter shows of several measurements of one kind, with what its kept error adds."""
        meter = build_meter_input(some[0], self.meter)
        shown = read_meter(settled, [find_leads(m, self.loop) for m in some], meter)
        shown = to_ohms(shown, meter) if some[0].kind == "ohms" else shown
        return Shown(shown.volts, self._add_meter(shown, some[0].kind))

    def _file_shown(self, some: Sequence[Measurement], numbers: Index, shown: Shown) -> None:
        moved, count = shown.slopes, self._count_rows(some[0].kind)
        for n, m in enumerate(some):
            file = self._files[m.key]
            mean = np.zeros(count) if file.mean is None else file.mean
            slopes = np.zeros((moved.shape[0], count)) if file.slopes is None else file.slopes
            mean[numbers], slopes[:, numbers] = shown.volts[n], moved[:, n]
            file.mean, file.slopes = mean, slopes
            file.known[numbers] = True

    def _add_meter(self, shown: Shown, kind: str) -> Array:
        """Return slopes with what the meter's kept error adds, (unknown, pair, circuit): a row for volts, one for ohms.

        Turned leads turn the sign of volts; ohms are as far off either way round.
        """
        rows = np.zeros((len(METER_ROWS), *shown.volts.shape))
        if kind == "ohms":
            rows[1] = find_kept_sd(np.minimum(shown.volts, self.meter.ohms_over), "ohm", self.meter)
        else:
            rows[0] = np.sign(shown.volts) * find_kept_sd(shown.volts, "V", self.meter)
        return np.concatenate([shown.slopes[:-1], rows, shown.slopes[-1:]])

    def _file_at_detectors(self, asked: Sequence[There]) -> None:
        """Functional tests, heads off, cable opened: circuits of one batch at a detector each, in pieces for a cache.

        Pieces are settled and read together; what comes of them is filed here.
        """
        pieces = cut_deeds([Deed(tuple(m for m, _ in some), some[0][1]) for some in gather_by_place(asked)])
        if asked[0][0].kind == "functional_test":  # what a reset does to them is settled before threads ask for it
            self._batches.take(np.unique(np.concatenate([numbers for _, numbers in asked])), RESET)
        for told in work_together(self._act, pieces):
            for file in told:
                file()

    def _act(self, piece: Sequence[Deed]) -> list[Callable[[], None]]:
        """Return, to be called, how to file what comes of what is done at each detector of a piece, to its circuits."""
        wide = self._batches.take(np.concatenate([deed.numbers for deed in piece]))
        which = np.repeat([deed.some[0].place for deed in piece], [deed.numbers.size for deed in piece])
        acted = apply_steps(wide, [self._build_step([deed.some[0] for deed in piece], which, wide)])
        ends = np.cumsum([deed.numbers.size for deed in piece])
        parts = (np.arange(end - deed.numbers.size, end) for deed, end in zip(piece, ends, strict=True))
        return [self._tell_acted(deed, acted.take(part)) for deed, part in zip(piece, parts, strict=True)]

    def _tell_acted(self, deed: Deed, acted: Settled) -> Callable[[], None]:
        """Return how to file what was done at one detector; of volts there, of all its pairs together."""
        (m, *_), numbers = deed.some, deed.numbers
        if m.kind == "volts":
            return partial(self._file_shown, deed.some, numbers, self._read_shown(deed.some, acted))
        if m.kind == "functional_test":
            chances = find_test_chances(self._batches.take(numbers), acted, self._batches.take(numbers, RESET), m.at)
        elif m.kind == "earth_opened":
            chances = find_earth_chances(acted)
        else:
            chances, dark = find_zone_chances(acted), self._find_dark_sets(acted, m)
            return partial(self._file_head_off, m, numbers, chances, dark)
        return partial(self._file_words, m, numbers, chances)

    def _build_step(self, some: list[Measurement], which: NDArray[np.str_], wide: Settled) -> Step:
        """Return what is done at the detector of each measurement, column by column; ``which`` is that detector."""
        done: dict[str, Flags] = {}
        for m in some:
            cut = m.mode.word in CUTS
            for name in build_opening(m.mode, self.loop) if cut else [f"{m.at}.{_AT_DETECTORS[m.kind]}"]:
                done[name] = done.get(name, wide.signal(name)) | (which == m.place)
        return done

    def _file_head_off(self, m: Measurement, numbers: Index, zones: Words, dark: list[str]) -> None:
        """One head off answers two questions: what the panel shows, and which others are dark."""
        for other in (replace(m, kind=kind) for kind in ("head_off", "dark_with_head_off")):
            self._find_file(other)
            if other.kind == "head_off":
                self._file_words(other, numbers, zones)
            else:
                self._file_said(other, numbers, [((text, 1.0),) for text in dark])

    def _find_dark_sets(self, off: Settled, m: Measurement) -> list[str]:
        return find_dark_sets(off, [d.name for d in list_walked(m, self.loop) if d.name != m.at])


def _build_balanced(count: int) -> Array:
    """Return what a panel says whose earth lies in the middle, for so many circuits."""
    return np.repeat([[1.0, 0.0]], count, axis=0)


def _count(m: Measurement, said: list[Said]) -> list[Said]:
    """Return lists of detectors as they are told: as numbers, where nobody knows which detector is which."""
    return [count_detectors(lists) for lists in said] if m.kind in COUNTED else said
