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


class Spreads(_Strict):
    """The whole file; ``slips`` and ``hasty`` are shares of readings."""

    format: Literal["ohmward-worlds/1"]
    wider: float
    cut: float
    own_share: float
    threshold: float
    window: float
    leads_ohm: tuple[float, float]
    lacks: Lacks
    slips: float
    hasty: float
    planted: Planted
    minutes: Minutes

    def with_slips(self, slips: float, hasty: float) -> "Spreads":
        """Return the same with other shares of mistaken readings."""
        return self.model_copy(update={"slips": slips, "hasty": hasty})


@cache
def read_spreads() -> Spreads:
    """Return the table that ships with the package."""
    return parse_model(read_file(_FILE), Spreads)
