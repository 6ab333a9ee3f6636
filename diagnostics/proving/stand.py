"""A site of the referee's with one bench for all visits to it, and a person who reads there for the engine."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Bench, Measurement, list_measurements, parse_value
from diagnostics.reasoning import Question, Taken, list_hypotheses
from diagnostics.referee import Ask, Line, Person, Row, list_sites
from diagnostics.source import read_file
from diagnostics.wiring import build_loop, parse_site

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Stand:
    """A site, its bench, and the rows of the measurements that it offers, by their keys."""

    line: Line
    site: Path
    bench: Bench
    rows: dict[str, Row]

    def read(self, person: Person, question: Question, measurement: Measurement) -> Question:
        """Return the question with a reading more; an answer that no loop could give is asked for no more."""
        try:
            value = parse_value(measurement, self.bench.loop, person.read(self.rows[measurement.key]))
        except DiagnosticsError:
            return replace(question, skipped=question.skipped | {measurement.key})
        taken = (*question.taken, Taken(measurement, value))
        return replace(question, taken=taken, standing_at=measurement.place)

    def note(self, question: Question, row: Row, value: str) -> Question:
        """Return the question with what somebody has met by the way, one of the rows of measurements."""
        known = next((m for m in list_measurements(self.bench.loop) if m.key == _write_key(row)), None)
        return question if known is None else replace(question, taken=(*question.taken, Taken(known, value)))

    def forget(self, fault: str) -> None:
        """Let go of the circuit of a fault that will not come again."""
        self.line.kept.pop(("export", str(self.site), "--fault", fault), None)


def build_stand(ask: Ask, site: Path) -> Stand:
    """Return the stand of a site."""
    line = Line(ask)
    loop = build_loop(parse_site(read_file(site)))
    offered = {m.key for m in list_measurements(loop)}
    rows = {key: row for row in line.list_rows("measurements", site) if (key := _write_key(row)) in offered}
    return Stand(line, site, Bench(loop, list_hypotheses(loop)), rows)


def _write_key(row: Row) -> str:
    leads = f"{row['red']},{row['black']}" if row.get("red") else row["at"]
    return f"{row['measurement']}|{leads}|{row['mode']}"


def play_sites(play: Callable[[Stand], list[T]], ask: Ask, styles: Sequence[str], jobs: int) -> list[T]:
    """Return what is played at every site of some styles, one site after the other or some at a time."""
    sites = [site for style in styles for site in list_sites(style)]
    at_site = partial(_play_site, play, ask)
    if jobs == 1:
        return [told for site in sites for told in at_site(site)]
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        return [told for some in pool.map(at_site, sites) for told in some]


def _play_site(play: Callable[[Stand], list[T]], ask: Ask, site: Path) -> list[T]:
    return play(build_stand(ask, site))
