"""How wide the referee draws its worlds: a data file, every number of it invented."""

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.source import parse_model, read_file

_FILE = Path(__file__).with_name("worlds.yaml")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LogNormal(_Strict):
    """A positive unknown: its median, and one standard deviation of its logarithm."""

    median: float
    log_sd: float


class Forward(_Strict):
    """Spread of the forward volts of one-way paths: of a whole batch, and of one head."""

    batch: float
    head: float


class LowInput(_Strict):
    """The share of meters that load what they read, and their input resistance."""

    share: float
    ohm: float


class DiodeRange(_Strict):
    """Volts that a meter's diode range asks with, at least and at most, how much of them it shows, and its ohms."""

    test_v: tuple[float, float]
    shown: float
    source_ohm: float


class Lacks(_Strict):
    """Effects that the engine has no spread or no part for."""

    contact_ohm: LogNormal
    run_celsius: float
    head_leak_ohm: LogNormal
    pair_leak_ohm: LogNormal
    earth_leak_ohm: LogNormal
    forward: Forward
    ripple: float
    offset_digits: float
    low_input: LowInput


class Planted(_Strict):
    """Values of planted faults in ohms: common resistors, and lowest and highest by kind."""

    wrong_ohm: tuple[int, ...]
    between_ohm: dict[str, tuple[float, float]]


class Minutes(_Strict):
    """Minutes of ways and of what follows a repair or a visit."""

    between: float
    back: float
    station: float
    second_visit: float


class BelievedSlips(_Strict):
    """Slips as the engine believes them: shares of readings by kind, and of a wrong number what it is.

    It is ``turned``, of another ``prefix``, read with a lead ``off``, or ``anything`` up to so many volts or over all
    decades of ohms; a wrong word is any word.
    """

    shares: dict[str, float]
    turned: float
    prefix: float
    off: float
    anything: float
    widest_v: float
    least_ohm: float


class Spreads(_Strict):
    """The whole file; ``slips`` and ``hasty`` are shares of readings, unless slips are as the engine believes.

    ``looks_again`` is the share of those who had overlooked something and find it when they look again.

    ``stray_v`` is one sd of the volts that leads pick up at every reading: as the engine believes, or none.
    """

    format: Literal["ohmward-worlds/1"]
    wider: float
    cut: float
    own_share: float
    threshold: float
    window: float
    leads_ohm: tuple[float, float]
    diode_range: DiodeRange
    lacks: Lacks
    slips: float
    hasty: float
    looks_again: float
    planted: Planted
    minutes: Minutes
    stray_v: float = 0.0
    believed: BelievedSlips | None = None

    def with_slips(self, slips: float, hasty: float) -> "Spreads":
        """Return the same with other shares of mistaken readings."""
        return self.model_copy(update={"slips": slips, "hasty": hasty})

    def as_believed(self, threshold: float, stray_v: float, believed: BelievedSlips) -> "Spreads":
        """Return worlds as wide as the engine believes, ``threshold`` being its spread of all volts that decide.

        Nothing corrodes, leaks or ripples in them, no part has luck of its own, leads pick up ``stray_v`` (one sd),
        slips are as it believes, and what was overlooked once is overlooked again.
        """
        none = LogNormal(median=1e-9, log_sd=0.0)
        sound = LogNormal(median=1e15, log_sd=0.0)
        lacks = Lacks(
            contact_ohm=none,
            run_celsius=0.0,
            head_leak_ohm=sound,
            pair_leak_ohm=sound,
            earth_leak_ohm=sound,
            forward=Forward(batch=0.0, head=0.0),
            ripple=0.0,
            offset_digits=0.0,
            low_input=LowInput(share=0.0, ohm=1.0),
        )
        plain = {"wider": 1.0, "cut": 4.0, "own_share": 0.0, "threshold": threshold, "window": threshold}
        people = {"leads_ohm": (0.0, 0.0), "stray_v": stray_v, "looks_again": 0.0}
        return self.model_copy(update={**plain, **people, "lacks": lacks, "believed": believed})


@cache
def read_spreads() -> Spreads:
    """Return the table that ships with the package."""
    return parse_model(read_file(_FILE), Spreads)
