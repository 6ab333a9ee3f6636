"""Generic part profiles, held as data: each attribute with unit, default, spread and description."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType

from pydantic import BaseModel, ConfigDict

from diagnostics.errors import QuantityError, SiteError, find_nearest
from diagnostics.source import Percent, parse_model, read_file
from diagnostics.units import parse_quantity

_FILE = Path(__file__).with_name("parts.yaml")
Value = float | str | None
# One standard deviation; more than this is no value that is known. Invented.
MOST_SPREAD_PERCENT = 50.0
# No zone, output or battery of a detection loop has more: it is extra-low voltage. Common practice, no source; and what
# a loop can have decides from where on a reading is called foreign and dangerous. These are the values that feed one.
MOST_V = 60.0
_FEEDS = frozenset({"zone_v", "aux_v", "battery_v", "charger_v", "drive_v", "loop_v"})


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Attribute(_Strict):
    """One row of a family's table; ``spread`` is one standard deviation in percent of the value."""

    unit: str | None = None
    one_of: tuple[str, ...] = ()
    default: str
    spread: Percent = 0.0
    or_none: bool = False
    about: str

    def parse(self, text: str) -> Value:
        """Return the value in SI units, or the chosen word.

        Raises
        ------
        QuantityError
            The text is not a quantity of this unit, or not one of the words.
        """
        if self.unit is None:
            return self._choose(text)
        if self.or_none and text.strip().lower() == "none":
            return None
        value = parse_quantity(text, self.unit)
        if value < 0 and self.unit != "degC":
            raise QuantityError("a part's value cannot be negative", text=text, unit=self.unit)
        return value

    def _choose(self, text: str) -> str:
        if text in self.one_of:
            return text
        near = find_nearest(text, self.one_of)
        hint = f"did you mean {near!r}?" if near else f"choose one of {', '.join(self.one_of)}"
        raise QuantityError(f"{text!r} is not one of the words", text=text, unit="a word", hint=hint)


class Family(_Strict):
    """What all parts of a family have in common."""

    about: str
    attributes: dict[str, Attribute]


class Profile(_Strict):
    """A named set of values; what it does not say stays at the family's default."""

    family: str
    about: str
    values: dict[str, str] = {}


class _Table(_Strict):
    format: str
    families: dict[str, Family]
    profiles: dict[str, Profile]


@dataclass(frozen=True, slots=True)
class Part:
    """A part with every value known, in SI units; ``shares`` are one-sd fractions of the values."""

    profile: str
    family: str
    values: Mapping[str, Value] = field(default_factory=lambda: MappingProxyType({}))
    shares: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def number(self, name: str) -> float:
        """Return a numeric attribute in SI units."""
        value = self.values[name]
        if not isinstance(value, float):
            raise TypeError(f"{self.profile}.{name} is not a number")
        return value

    def number_or_none(self, name: str) -> float | None:
        """Return a numeric attribute, or None where it is *none*."""
        return None if self.values[name] is None else self.number(name)

    def word(self, name: str) -> str:
        """Return a chosen word."""
        return str(self.values[name])


@cache
def read_parts() -> _Table:
    """Return the table of families and profiles that ships with the package."""
    return parse_model(read_file(_FILE), _Table)


def build_part(
    profile: str,
    overrides: Mapping[str, str] | None = None,
    family: str | None = None,
    spreads: Mapping[str, float] | None = None,
) -> Part:
    """Return a profile with a site's own values put in; ``spreads`` are one standard deviation in percent, where known.

    Raises
    ------
    SiteError
        There is no such profile or attribute, it is of another family, a value does not parse, or a spread belongs to
        a value that is taken as exact.
    """
    table = read_parts()
    known = [n for n, p in table.profiles.items() if family in {None, p.family}]
    if profile not in known:
        raise SiteError(f"no profile {profile!r} here", hint=_suggest(find_nearest(profile, known), known))
    found = table.profiles[profile]
    rows = table.families[found.family].attributes
    texts = {name: row.default for name, row in rows.items()} | found.values | dict(overrides or {})
    unknown = [name for name in texts if name not in rows]
    if unknown:
        raise SiteError(
            f"{profile} has no value {unknown[0]!r}", hint=_suggest(find_nearest(unknown[0], rows), list(rows))
        )
    values = {name: _parse_value(profile, name, rows[name], text) for name, text in texts.items()}
    shares = {name: row.spread / 100 for name, row in rows.items() if row.spread}
    shares |= {name: _check_spread(profile, name, shares, percent) for name, percent in (spreads or {}).items()}
    return Part(profile, found.family, MappingProxyType(values), MappingProxyType(shares))


def _check_spread(profile: str, name: str, shares: Mapping[str, float], percent: float) -> float:
    if name not in shares:
        near = _suggest(find_nearest(name, shares), list(shares))
        raise SiteError(f"{profile} has no value {name!r} that is uncertain", hint=near)
    if not 0 <= percent <= MOST_SPREAD_PERCENT:
        raise SiteError(f"{profile}, {name}: a spread lies from 0 % to {MOST_SPREAD_PERCENT:g} %")
    return percent / 100


def _suggest(near: str | None, known: Sequence[str]) -> str:
    return f"did you mean {near!r}?" if near else f"there are {', '.join(known)}"


def _parse_value(profile: str, name: str, row: Attribute, text: str) -> Value:
    try:
        value = row.parse(text)
    except QuantityError as error:
        raise SiteError(f"{profile}, {name}: {error.message}", hint=error.hint) from error
    if name in _FEEDS and isinstance(value, float) and value > MOST_V:
        raise SiteError(
            f"{profile}, {name}: {text} is more than the {MOST_V:g} V that any part of such a loop has",
            hint="if that was measured, another circuit touches this one: stop, hands off, have it made safe",
        )
    return value
