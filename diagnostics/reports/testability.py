"""What the testability of a loop says: tables as data for screens, lines for a terminal, an object for programs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.faults import Fault, read_catalogue
from diagnostics.proving import Alike, Kit, Least, Testability, Unseen
from diagnostics.readings import Measurement, list_cautions
from diagnostics.source import parse_model, read_file
from diagnostics.wiring import Loop

from .cautions import tell_caution
from .objects import build_where, round_number, write_faults
from .word_table import Region
from .words import Words, format_percent

_FILE = Path(__file__).with_name("testability.yaml")
_MOST = 3
Object = dict[str, Any]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Section(_Strict):
    title: str
    lead: str
    none: str
    heads: tuple[str, ...]
    edge: str = ""
    sound: str = ""


class _Least(_Strict):
    title: str
    heads: tuple[str, ...]
    detect: str
    repair: str
    separate: str
    pairs: str
    proved: str
    gap: str
    count: str
    cautions: str
    of: str
    purposes: dict[str, str]


class _Table(_Strict):
    format: Literal["ohmward-testability-words/1"]
    title: str
    lead: str
    outranked: str
    unseen: _Section
    how: dict[str, str]
    alike: _Section
    least: _Least
    minutes: str
    more: str
    long: str


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the table: title, a sentence or two, heads and rows of text."""

    title: str
    told: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class TestList:
    """The fewest measurements for one purpose, in the order of one round: (place, what is done there)."""

    __test__ = False  # pytest takes every name that begins so for tests
    title: str
    stops: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class TestabilityTable:
    """Testability as a screen shows it; ``cautions`` are (title, in full), and belong before the ``lists``."""

    __test__ = False
    title: str
    lead: str
    unseen: Section
    alike: Section
    least: Section
    cautions: tuple[tuple[str, str], ...]
    lists: tuple[TestList, ...]
    outranked: str


@cache
def read_testability_words() -> _Table:
    """Return the words of testability that ship with the package."""
    return parse_model(read_file(_FILE), _Table)


def build_testability_table(told: Testability, loop: Loop, region: Region = "north_america") -> TestabilityTable:
    """Return the testability of a loop in words, for a region."""
    words, table = Words(loop, region=region), read_testability_words()
    kits = [least.fewest for least in told.least]
    lead = table.lead.format(
        faults=told.faults,
        measurements=told.measurements,
        alone=format_percent(told.alone),
        mean=f"{told.mean_group:.1f}",
    )
    return TestabilityTable(
        table.title,
        lead,
        _build_unseen(told, words),
        _build_alike(told, words),
        _build_least(told),
        tuple(tell_caution(name, region) for name in _list_cautions(kits)),
        tuple(_build_list(least, words) for least in told.least),
        table.outranked,
    )


def _build_unseen(told: Testability, words: Words) -> Section:
    part, edge = read_testability_words().unseen, sum(u.is_at_edge for u in told.unseen)
    lead = (part.lead if told.unseen else part.none).format(count=len(told.unseen), faults=told.faults)
    more = (part.edge.format(count=edge),) if edge else ()
    alike: dict[tuple[str, str, str], list[Unseen]] = {}
    for u in told.unseen:
        alike.setdefault((u.fault.kind, u.how, u.found_by.kind if u.found_by else ""), []).append(u)
    return Section(part.title, (lead, *more), part.heads, tuple(_tell_unseen(some, words) for some in alike.values()))


def _tell_unseen(some: Sequence[Unseen], words: Words) -> tuple[str, ...]:
    """Return one row for faults of one kind that are found in one way, told by the first of them."""
    first, minutes = some[0], sorted({u.minutes for u in some if u.found_by})
    name = words.name(first.found_by) if first.found_by else ""
    how = read_testability_words().how[first.how].format(name=name, share=format_percent(first.share))
    ends = " - ".join(dict.fromkeys(f"{m:g}" for m in (minutes[0], minutes[-1]))) if minutes else ""
    said = _capital(words.fault(first.fault))
    what = said if len(some) == 1 else read_testability_words().more.format(some=said, count=len(some) - 1)
    return what, _join([words.spot(u.fault.spot) for u in some]), how, _tell_minutes(ends)


def _tell_minutes(minutes: str) -> str:
    return read_testability_words().minutes.format(minutes=minutes) if minutes else ""


def _build_alike(told: Testability, words: Words) -> Section:
    """Return the groups that matter: those that hide a fault altogether, or in which the repairs differ."""
    part = read_testability_words().alike
    some = [group for group in told.alike if group.has_sound or len(group.repairs) > 1]
    lead = part.lead if told.alike else part.none
    sentence = lead.format(count=len(told.alike), same=len(told.alike) - len(some))
    return Section(part.title, (sentence,), part.heads, tuple(_tell_alike(group, words) for group in some))


def _tell_alike(group: Alike, words: Words) -> tuple[str, ...]:
    faults: list[Fault] = [f for member in group.members for f in member]
    members = _join([words.fault(f) for f in faults])
    said = read_testability_words().alike.sound.format(members=members) if group.has_sound else _capital(members)
    repairs = list(dict.fromkeys(read_catalogue().remedies[remedy].words for remedy, _ in group.repairs))
    return said, _join([words.spot(f.spot) for f in faults]), _join(repairs)


def _join(texts: Sequence[str]) -> str:
    """Return texts once each, the first few and how many more there are."""
    some = list(dict.fromkeys(texts))
    if len(some) <= _MOST + 1:
        return "; ".join(some)
    return read_testability_words().more.format(some="; ".join(some[:_MOST]), count=len(some) - _MOST)


def _build_least(told: Testability) -> Section:
    part = read_testability_words().least
    return Section(part.title, (), part.heads, tuple(_tell_least(least) for least in told.least))


def _tell_least(least: Least) -> tuple[str, ...]:
    part, few, quick = read_testability_words().least, least.fewest, least.quickest
    return (
        getattr(part, least.purpose),
        part.pairs.format(able=least.able, pairs=least.pairs),
        _tell_proof(f"{len(few.measurements)}", f"{few.bound:.0f}", proved=few.is_proved),
        _tell_minutes(f"{few.minutes:.0f}"),
        _tell_proof(_tell_minutes(f"{quick.minutes:.0f}"), _tell_minutes(f"{quick.bound:.0f}"), proved=quick.is_proved),
        part.count.format(count=len(quick.measurements)),
    )


def _tell_proof(value: str, bound: str, *, proved: bool) -> str:
    part = read_testability_words().least
    return (part.proved if proved else part.gap).format(value=value, bound=bound)


def _list_cautions(kits: Sequence[Kit]) -> Iterator[str]:
    """Yield the cautions of all that a set asks for, in their order, that of taking an alarm for real first."""
    needed = {"is_it_real", *(c for kit in kits for m in kit.measurements for c in m.cautions)}
    yield from (c for c in list_cautions() if c in needed)


def _build_list(least: Least, words: Words) -> TestList:
    part = read_testability_words().least
    stops: dict[str, list[str]] = {}
    for m in sorted(least.fewest.measurements, key=lambda m: m.place != "panel"):
        stops.setdefault(m.place, []).append(words.name(m))
    title = f"{part.purposes[least.purpose]}. {part.of.format(minutes=_tell_minutes(f'{least.fewest.minutes:.0f}'))}"
    return TestList(title, tuple((_capital(words.place(at)), tuple(names)) for at, names in stops.items()))


def render_testability_text(told: Testability, loop: Loop) -> list[str]:
    """Return the tables as lines for a terminal."""
    table, part = build_testability_table(told, loop), read_testability_words().least
    lines = [f"{table.title}: {loop.site.name}", f"  {table.lead}"]
    for section in (table.unseen, table.alike, table.least):
        lines += [f"  {section.title}", *(f"    {line}" for line in section.told)]
        lines += [f"    {_tell_row(section.heads, row)}" for row in section.rows]
    lines += [f"  {part.cautions}:", *(f"    ! {title}: {text}" for title, text in table.cautions)]
    for some in table.lists:
        lines += [f"  {some.title}:", *(f"    {place}: {'; '.join(names)}" for place, names in some.stops)]
    return [*lines, f"  {table.outranked}"]


def _tell_row(heads: Sequence[str], row: Sequence[str]) -> str:
    told = [f"{head.lower()}: {cell}" for head, cell in zip(heads[1:], row[1:], strict=True) if cell]
    return " | ".join([row[0], *told])


def tell_long_check(loop: Loop) -> str:
    """Return what is said before the testability of a long loop is worked out."""
    return read_testability_words().long.format(count=len(loop.detectors))


def build_testability_object(told: Testability) -> Object:
    """Return the testability of a loop for programs: faults as the command line has them, every group, every set."""
    return {
        "faults": told.faults,
        "measurements": told.measurements,
        "alone": round_number(told.alone, 6),
        "mean_group": round_number(told.mean_group, 6),
        "unseen": [_build_unseen_object(u) for u in told.unseen],
        "alike": [_build_alike_object(group) for group in told.alike],
        "least": [_build_least_object(least) for least in told.least],
    }


def _build_unseen_object(u: Unseen) -> Object:
    return {
        "fault": u.fault.text, "how": u.how, "found_by": None if u.found_by is None else build_where(u.found_by),
        "minutes": u.minutes if u.found_by else None, "share": u.share, "stays_unseen": round_number(u.stays, 6),
    }  # fmt: skip


def _build_alike_object(group: Alike) -> Object:
    remedies = read_catalogue().remedies
    return {
        "members": [write_faults(member) for member in group.members],
        "probability": round_number(group.probability, 6),
        "d_prime": round_number(group.d_prime, 6),
        "repairs": [{"remedy": r, "at": at, "minutes": remedies[r].minutes} for r, at in group.repairs],
    }


def _build_least_object(least: Least) -> Object:
    return {
        "purpose": least.purpose,
        "pairs": least.pairs,
        "pairs_told_apart": least.able,
        "fewest": _build_kit_object(least.fewest) | {"minutes_bound": round_number(least.fewest_minutes_bound, 6)},
        "quickest": _build_kit_object(least.quickest),
    }


def _build_kit_object(kit: Kit) -> Object:
    some: list[Measurement] = list(kit.measurements)
    return {
        "count": len(some), "minutes": round_number(kit.minutes, 6), "bound": round_number(kit.bound, 6),
        "proved": kit.is_proved, "measurements": [build_where(m) | {"cautions": list(m.cautions)} for m in some],
    }  # fmt: skip


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
