r"""Make a worked case whose readings are not the program's own.

    python tests/external/make_cases.py --site packing_shed --fault conductor_open@det3.in+ \
        --symptom constant_trouble --seed 11 --name packing_shed_trouble

A fault of the netlists typed by hand is planted in a loop whose values are drawn from the seed (``case_world``). Then
the visit is played: ``diagnose``, asked through the public command line, names the next measurement; the world answers
it as ngspice, a 6000-count meter and a pair of eyes find it; until the program says *settled*. With ``--guide`` the
finding guide of the complaint leads as far as it goes. The case is written to ``cases/NAME.yaml``. The same words give
the same file, byte for byte.

The site is one of ``cases/sites``: a bench site, or one that differs from it in name, note and rooms only. The fault is
one that an edits file of ``hand_netlists`` has; the symptom must be true in the world. Looks and reviews of settings
find what ``list kinds`` says is seen there, as often as it says. ``--list`` prints sites and faults, ``--all``
makes every case again (with ``--dry`` it only says which would be other).

Exit: 0 written and settled, 1 not settled (written nevertheless with ``--keep``), 2 wrong words.
"""

import argparse
import contextlib
import io
import json
import shlex
import shutil
import sys
import tempfile
import textwrap
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # so that it also runs as a script

from diagnostics.cli.main import run as run_command_line  # noqa: E402
from diagnostics.source import read_file  # noqa: E402
from tests.external.case_world import (  # noqa: E402
    HandWorld,
    Plant,
    click,
    dark_ones,
    earth_says,
    lamp,
    lit_ones,
    panel_shows,
    read_ohms,
    read_volts,
    shown,
    tested,
)
from tests.external.test_hand_netlists import HERE, read_circuits, read_edit  # noqa: E402

CASES = ROOT / "cases"
LOOKS_AGAIN = 0.5
MOST_STEPS = 25
NOTHING = "none"  # the loop is as its description says

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a case is made from; ``wide`` is the reason for a group of more than four places."""

    site: str
    fault: str
    symptom: str
    seed: int
    name: str
    context: str = ""
    notes: str = ""
    wide: str = ""
    guide: bool = False

    @property
    def words(self) -> str:
        """The command that makes it again, notes left out."""
        pairs = [("site", self.site), ("fault", self.fault), ("symptom", self.symptom), ("seed", str(self.seed))]
        pairs += [("name", self.name), *([("context", self.context)] if self.context else [])]
        led = ["--guide"] if self.guide else []
        return shlex.join(
            ["python", "tests/external/make_cases.py", *(w for k, v in pairs for w in (f"--{k}", v)), *led]
        )


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit played to its end."""

    readings: tuple[Row, ...]
    minutes: float
    last: Row


def ask(*words: str) -> Row:
    """Return what one command of the program prints with ``--json``; any other end is an AssertionError."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run_command_line([*words, "--json"])
    assert code == 0, f"{words}: {out.getvalue()[-1500:]}{err.getvalue()[-1500:]}"
    answer: Row = json.loads(out.getvalue())
    return answer


@cache
def list_kinds(site: Path) -> dict[str, Row]:
    """Return the rows of ``list kinds SITE`` by kind."""
    return {row["kind"]: row for row in ask("list", "kinds", str(site))["rows"]}


def read_electric(path: Path) -> str:
    """Return what of a site makes a difference to its wiring: everything but name, note and rooms."""
    site: Any = read_file(path).data
    assert isinstance(site, dict)
    loops = []
    for loop in site["loops"]:
        detectors = loop.get("detectors") or [{}] * int(loop["count"])
        bare = [{key: value for key, value in row.items() if key != "room"} for row in detectors]
        loops.append({k: v for k, v in loop.items() if k != "count"} | {"detectors": bare})
    rest = {key: value for key, value in site.items() if key not in ("name", "note", "loops")}
    return json.dumps([rest, loops], sort_keys=True)


@cache
def list_benches(site: Path) -> tuple[Path, ...]:
    """Return the edits files whose bench site is wired as this one; an AssertionError when there is none."""
    electric, found = read_electric(site), []
    for path in sorted(HERE.glob("*.toml")):
        rows = tomllib.loads(path.read_text("utf-8"))
        if "waiting" not in rows and read_electric(CASES / "sites" / rows["site"]) == electric:
            found.append(path)
    assert found, f"no netlist typed by hand describes {site.name}"
    return tuple(found)


def find_bench(site: Path, fault: str = NOTHING) -> Path:
    """Return the first of these edits files that has a fault, or the first of all."""
    every = list_benches(site)
    return next((path for path in every if any(c.fault == fault for c in read_circuits(path))), every[0])


def find_site(name: str) -> Path:
    """Return the file of a site of ``cases/sites``."""
    return CASES / "sites" / f"{name.removesuffix('.yaml')}.yaml"


def build_world(wanted: Wanted, program: str) -> HandWorld:
    """Return the drawn world of a wanted case."""
    path = find_bench(find_site(wanted.site), wanted.fault)
    rows = tomllib.loads(path.read_text("utf-8"))
    known = {row["text"]: row for row in rows["fault"]}
    assert wanted.fault in known, f"{path.name} has no {wanted.fault}; it has {', '.join(known)}"
    row = known[wanted.fault]
    stuck, short_pulse = bool(row.get("stuck")), bool(row.get("short_pulse"))
    plant = Plant(wanted.fault, read_edit(row), stuck, row.get("zones", {}), row.get("smokes", ""), short_pulse)
    labels = rows.get("module", {}).get("labels", {})
    own = read_circuits(path)[0].bench
    others = [read_circuits(other)[0].bench for other in list_benches(find_site(wanted.site))]
    states = {name: edit for b in (*others, own) if b.netlist == own.netlist for name, edit in b.states.items()}
    return HandWorld(program, replace(own, states=states), plant, wanted.seed, labels)


def find_answer(world: HandWorld, site: Path, row: Row, *, again: bool = False) -> str:
    """Return what the person reads, sees or hears for one measurement."""
    what, mode, at = row["measurement"], row["mode"], row.get("at", "")
    if what in ("volts", "ohms"):
        unit, read = ("V", read_volts) if what == "volts" else ("ohm", read_ohms)
        spot = f"{what} {row['red']} {row['black']} {mode}"
        if mode.startswith("known_resistor"):  # it lies on the zone that is metered
            mode = f"known_resistor:{row['red'].removeprefix('panel.').rstrip('+-')}"
        return shown(world, read(world, mode, row["red"], row["black"]), unit, spot)
    zone = at if at in world.zones else "zone1"
    words: dict[str, Callable[[], str]] = {
        "panel_shows": lambda: panel_shows(world, mode, zone),
        "known_resistor": lambda: panel_shows(world, f"known_resistor:{zone}", zone),
        "head_off": lambda: panel_shows(world, mode, world.zone_of(at)),
        "lamp": lambda: lamp(world, mode, at),
        "which_dark": lambda: dark_ones(world, mode),
        "which_lit": lambda: lit_ones(world, mode),
        "dark_with_head_off": lambda: dark_ones(world, mode, at),
        "functional_test": lambda: tested(world, at),
        "listen": lambda: click(world),
        "supply_lamps": lambda: "right",  # mains and battery are sound in all of these
        **dict.fromkeys(("earth_lamp", "earth_lifted", "earth_opened"), lambda: earth_says(world, mode)),
        "ac_volts": lambda: "no_ac",  # nothing foreign is planted
        "event_log": lambda: logged(world, mode),
        "look": lambda: seen(world, site, what, at, again=again),
        "settings": lambda: seen(world, site, what, at, again=again),
    }
    return words[what]()


def logged(world: HandWorld, mode: str) -> str:
    """Return the gravest entry of the event log, from what the zones show."""
    shown_now = {panel_shows(world, mode, zone) for zone in world.zones}
    graver = (w for w in ("alarm", "supervisory", "trouble") if w in shown_now)
    of_earth = "earth_trouble" if earth_says(world, mode) == "earth_trouble" else "nothing"
    return {"trouble": "trouble_only"}.get(word := next(graver, of_earth), word)


def seen(world: HandWorld, site: Path, what: str, at: str, *, again: bool = False) -> str:
    """Return what eyes or a review of settings find at a place, by the catalogue's word and share for the fault.

    Whoever looks ``again`` knows what for, and half of those who had overlooked it find it then (invented).
    """
    if world.plant.text == NOTHING:
        return "as_it_should_be"
    kind, _, place = world.plant.text.partition("@")
    row = list_kinds(site)[kind.partition("=")[0]]
    luck = 0.0 if again and world.luck(f"{what} again") < LOOKS_AGAIN else world.luck(what)
    if what == "settings":
        return "setting_wrong" if luck < row["settings_share"] else "as_it_should_be"
    here = {"here": place.split(".")[0], "end": find_end(world, place)}.get(row["seen_at"], row["seen_at"])
    return row["seen_as"] if at == here and luck < row["seen_share"] else "as_it_should_be"


def find_end(world: HandWorld, place: str) -> str:
    """Return the detector that carries an end: the last one, or the last of its kind where each kind has its pair."""
    label = {"end_fire": "fire", "end_co": "co"}.get(place)
    return [d for d in world.bench.detectors if label is None or world.labels[d] == label][-1]


def is_true(world: HandWorld, symptom: str) -> bool:
    """Tell whether what the caller says is so in this world."""
    standby = [panel_shows(world, "standby", zone) for zone in world.zones]
    if symptom in ("constant_trouble", "alarm_with_nothing_there"):
        return {"constant_trouble": "trouble", "alarm_with_nothing_there": "alarm"}[symptom] in standby
    if symptom == "earth_trouble":
        return earth_says(world, "standby") == symptom
    if symptom == "detectors_dark":
        return dark_ones(world, "standby") != "none"
    if symptom == "no_trouble_with_head_off":
        return any(panel_shows(world, f"head_off:{d}", world.zone_of(d)) == "normal" for d in world.bench.detectors)
    tests = [tested(world, detector) for detector in world.bench.detectors]
    silent = [number for number, word in enumerate(tests) if word == "no_report"]
    return {
        "none_report": len(silent) == len(tests),
        "only_first_report": 0 < len(silent) < len(tests) and silent[0] == len(tests) - len(silent),
        "one_does_not_report": len(silent) == 1,
        "some_do_not_report": 1 < len(silent) < len(tests),
        "will_not_reset": bool({"reports_and_stays", "alarm_already"} & set(tests)),
        "wrong_zone_reports": "reports_wrong_zone" in tests,
    }[symptom]


def case_text(wanted: Wanted, netlist: str, readings: Sequence[Row]) -> str:
    """Return the case file."""
    made = (
        f"Invented. The readings are those of a loop with {wanted.fault} planted in {netlist}.cir of the netlists "
        f"typed by hand: values drawn from seed {wanted.seed}, solved by ngspice, read with a 6000-count meter, "
        "looked at by eyes that miss as much as the catalogue says. The steps are those that the program asked for"
        f"{', led by its finding guide' if wanted.guide else ''}."
    )
    lines = [f"# {line}" for line in textwrap.wrap(made, 116, break_on_hyphens=False)]
    lines += [f"# planted: {wanted.fault}", f"# made by: {wanted.words}"]
    lines += [f"# wide: {wanted.wide}"] if wanted.wide else []
    lines += ["format: ohmward-case/1", f"site: sites/{wanted.site}.yaml"]
    lines += [f"context: [{wanted.context}]"] if wanted.context else []
    lines += [f"symptom: {wanted.symptom}"]
    lines += [f"notes: {json.dumps(wanted.notes, ensure_ascii=False)}"] if wanted.notes else []
    taken = [f"  - {{{', '.join(f'{k}: {quoted(v)}' for k, v in row.items())}}}" for row in readings]
    return "\n".join([*lines, "readings:" if taken else "readings: []", *taken]) + "\n"


def quoted(word: str) -> str:
    """Return a word as YAML takes it: quoted where it is not plain."""
    return word if all(c.isalnum() or c in "._ Ω" for c in word) else json.dumps(word, ensure_ascii=False)


def play(wanted: Wanted, world: HandWorld) -> Visit:
    """Play the visit until the program has settled, wants no more measurements, or the steps are gone."""
    site = find_site(wanted.site)
    readings: list[Row] = []
    minutes = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "sites").mkdir()
        shutil.copy(site, folder / "sites" / site.name)
        while True:
            (folder / "case.yaml").write_text(case_text(wanted, "it", readings), "utf-8")
            last = ask("diagnose", str(folder / "case.yaml"), *(["--guide"] if wanted.guide else []))
            asked = last["next"]
            if last["settled"] or asked is None or asked["action"] != "measure" or len(readings) == MOST_STEPS:
                return Visit(tuple(readings), minutes, last)
            leads = {key: asked[key] for key in ("red", "black", "at") if asked.get(key)}
            row = {"measurement": asked["measurement"], **leads, "mode": asked["mode"]}
            again = any(row.items() <= before.items() for before in readings)
            readings.append({**row, "value": find_answer(world, site, asked, again=again)})
            minutes += asked["minutes"]


def make_case(wanted: Wanted, program: str) -> tuple[str, Visit]:
    """Return the text of a case and the visit behind it; an AssertionError when the symptom is not the fault's."""
    world = build_world(wanted, program)
    assert is_true(world, wanted.symptom), f"{wanted.symptom} is not so with {wanted.fault} at {wanted.site}"
    if wanted.fault != NOTHING:
        healthy = build_world(replace(wanted, fault=NOTHING), program)
        assert not is_true(healthy, wanted.symptom), f"{wanted.symptom} is so at {wanted.site} with nothing wrong"
    visit = play(wanted, world)
    return case_text(wanted, find_bench(find_site(wanted.site), wanted.fault).stem, visit.readings), visit


def report(wanted: Wanted, visit: Visit) -> str:
    """Return how a visit ended, in lines."""
    last = visit.last
    own = next((c["probability"] for c in last["candidates"] if c["fault"] == wanted.fault), None)
    lines = [f"{wanted.name}: {len(visit.readings)} steps, {visit.minutes:.1f} min, settled {last['settled']}"]
    lines += [f"  {' '.join(row.values())}" for row in visit.readings]
    lines += [f"  group {group['probability']:.4f} {group['members']}" for group in last["groups"][:3]]
    lines += [f"  planted {own}, not modelled {last['not_modelled']:.2g}, contradiction {last['contradiction']}"]
    if "guide" in last:
        lines.append(f"  guide {last['guide']['name']} {last['guide']['reached']} {last['guide']['at']}")
    asked = last["next"] or {}
    return "\n".join([*lines, f"  next {asked.get('action')}: {asked.get('why')}"])


def list_all() -> str:
    """Return every site that a netlist describes with the faults that its edits file has."""
    lines = []
    for site in sorted((CASES / "sites").glob("*.yaml")):
        with contextlib.suppress(AssertionError):
            named = dict.fromkeys(c.fault for path in list_benches(site) for c in read_circuits(path))
            lines.append(f"{site.stem}: {' '.join(text for text in named if text != NOTHING)}")
    return "\n".join(lines)


def read_words(words: Sequence[str] | None) -> tuple[Wanted, argparse.Namespace]:
    """Return what a command line wants; ends with 2 where it cannot be read."""
    reader = argparse.ArgumentParser(description="Make a worked case from a netlist typed by hand.")
    for name in ("site", "fault", "symptom", "name"):
        reader.add_argument(f"--{name}", default="")
    reader.add_argument("--seed", type=int, default=1)
    for name in ("context", "notes", "wide"):
        reader.add_argument(f"--{name}", default="")
    reader.add_argument("--guide", action="store_true", help="let the finding guide of the complaint lead")
    reader.add_argument("--dry", action="store_true", help="print the case and write nothing")
    reader.add_argument("--keep", action="store_true", help="write the case although nothing has settled")
    reader.add_argument("--all", action="store_true", help="make every worked case again from its own words")
    reader.add_argument("--list", action="store_true", help="print sites and faults")
    asked = reader.parse_args(words)
    keys = ("site", "fault", "symptom", "seed", "name", "context", "notes", "wide", "guide")
    wanted = Wanted(**{key: getattr(asked, key) for key in keys})
    if not (asked.list or asked.all) and not all((wanted.site, wanted.fault, wanted.symptom, wanted.name)):
        reader.error("say --site, --fault, --symptom and --name, or --all or --list")
    return replace(wanted, site=wanted.site.removesuffix(".yaml")), asked


def read_case_words(text: str) -> Wanted:
    """Return what a case file was made from, by its comments and its notes."""
    lines = dict(line.removeprefix("# ").split(": ", 1) for line in text.splitlines() if ": " in line)
    wanted, _ = read_words(shlex.split(lines["made by"])[2:])
    notes = json.loads(lines["notes"]) if "notes" in lines else ""
    return replace(wanted, notes=notes, wide=lines.get("wide", ""))


def make_all_again(program: str, *, dry: bool) -> int:
    """Make every worked case again from its own words; returns 1 where one did not settle (such a case is kept)."""
    code = 0
    for path in sorted(CASES.glob("*.yaml")):
        before = path.read_text("utf-8")
        if "# made by: python tests/external/make_cases.py" not in before:
            continue
        text, visit = make_case(read_case_words(before), program)
        word = "same" if text == before else "other"
        if not visit.last["settled"]:
            code, word = 1, "not settled, kept"
        elif not dry:
            path.write_text(text, "utf-8")
        sys.stdout.write(f"{path.stem}: {word}\n")
    return code


def run(words: Sequence[str] | None = None) -> int:
    """Make one case and say how it ended."""
    wanted, asked = read_words(words)
    if asked.list:
        sys.stdout.write(list_all() + "\n")
        return 0
    program = shutil.which("ngspice")
    if program is None:
        sys.stderr.write("needs the program ngspice (Debian package ngspice)\n")
        return 2
    if asked.all:
        return make_all_again(program, dry=asked.dry)
    try:
        text, visit = make_case(wanted, program)
    except AssertionError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write((text if asked.dry else "") + report(wanted, visit) + "\n")
    if not asked.dry and (visit.last["settled"] or asked.keep):
        (CASES / f"{wanted.name}.yaml").write_text(text, "utf-8")
    return 0 if visit.last["settled"] else 1


if __name__ == "__main__":
    sys.exit(run())
