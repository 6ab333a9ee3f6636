"""The table of words that ships with the package, in one dialect throughout."""

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.source import parse_model, read_file

from .dialect import swap_all, swap_words

_FILE = Path(__file__).with_name("words.yaml")
Region = Literal["north_america", "europe"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Ask(_Strict):
    technician: str
    caller: str


class _Joined(_Strict):
    title: str
    text: str


class _AfterRepair(_Strict):
    lead: str
    tests: tuple[str, ...]


class _Table(_Strict):
    format: Literal["ohmward-words/1"]
    regions: dict[Region, dict[str, str]]
    spoken: dict[Region, dict[str, str]]
    places: dict[str, str]
    nouns: dict[str, str]
    seek: str
    position: str
    in_room: _Ask
    this_zone: _Ask
    loop_on: str
    return_of: str
    return_at: str
    on_zone: str
    pair_of: str
    pairs_of: str
    both: str
    terminals: dict[str, str]
    ask: dict[str, _Ask]
    modes: dict[str, str]
    answers: dict[str, str]
    signals: dict[str, str]
    healthy: str
    not_modelled: str
    cautions: dict[str, str]
    joined_cautions: dict[str, _Joined]
    caller_cautions: dict[str, str]
    defects: dict[str, str]
    after_repair: _AfterRepair
    names: dict[str, str]
    complaints: dict[str, str]
    contexts: dict[str, str]
    tools: dict[str, str]
    styles: dict[str, str]
    style_words: dict[str, str]
    mends: dict[str, str]
    right_resistor: str
    resistor_unknown: str
    closings: dict[str, str]
    closing_words: dict[str, str]
    caution_titles: dict[str, str]
    screen: dict[str, str]


@cache
def _read_file() -> _Table:
    return parse_model(read_file(_FILE), _Table)


@cache
def read_words(region: Region = "north_america") -> _Table:
    """Return the words that ship with the package, in one dialect throughout."""
    whole = _read_file()
    own = {"format", "regions", "spoken"}
    texts = swap_all(whole.model_dump(exclude=own), whole.spoken[region])
    return _Table(**texts, **{name: getattr(whole, name) for name in own})


def localize(text: str, region: Region) -> str:
    """Return a text of another data file in the words of a region."""
    return swap_words(text, _read_file().spoken[region])
