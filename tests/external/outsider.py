"""An outsider plants faults in worlds of its own and lets the command line find them.

It knows the command line, its JSON and ngspice, and nothing of the program's inside. For each planted fault it draws a
world, builds the circuit from ``export``, writes its own netlist, decides every discrete state itself by the exported
thresholds, complains as a technician would and then answers whatever ``diagnose`` asks next, as a 6000-count meter and
a pair of eyes would, until the program has settled, gives up or 25 steps are gone.

Outside world: the arithmetic is ngspice's. Every spread, share, slip and minute is *invented*. Worlds are drawn wider
than the program believes (1.3 of its standard deviations, cut at 3), and every element has a small draw of its own.

Three policies play in the same world and all stop when ``diagnose`` says *settled*:

* ``engine`` does what ``diagnose`` asks for next;
* ``half`` measures volts at the middle detector of the stretch that is left and keeps the half whose far end is bad,
  then looks at and tests the detector it ended at; symptoms that no stretch explains go through the panel's
  measurements first, cheapest first; at the end everything else, cheapest first;
* ``random`` takes any offered measurement that was not yet taken.

Two wirings are drawn apart by ``--styles``: *zone* (a loop on the panel's own zone) and *module* (an interface module
between loop and panel, mostly on two zones).

Right means: settled, the verdict's remedy is the one that ``list kinds`` gives for the planted kind, the verdict's
place is the run, detector, output or zone of the planted fault (remedies of the end have one place; so have panel and
reset relay, in one cabinet), and the planted kind and place (whatever the value in ohms) is a candidate that is left. A
wrong one whose remedy and place are right all the same is counted beside as *right hands*. A repair that is offered
before anything is settled ends the session; it is told apart, right when its words are the planted remedy and the
planted detector, zone, module or panel. A world that chatters for ever cannot be read: it is skipped and told. Kinds
are planted evenly, not by the weights that the program believes in: settling on those alone goes wrong more often here.

Minutes of *half* and *random* come from ``list measurements``, with these *invented* travel figures of the published
data file beside them: 3.0 between two detectors, 1.5 back to the panel.
"""

import argparse
import json
import re
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))  # so that it also runs as a script

from tests.external.outsider_circuit import World, build_world
from tests.external.outsider_line import SITES, Row, ask, listed, senses_of, style_of
from tests.external.outsider_panel import NeverSettlesError, earth_says, mode_states, panel_shows
from tests.external.outsider_policies import BACK_MIN, BETWEEN_MIN, choose_any, choose_asked, choose_half, spot
from tests.external.outsider_world import (
    alarmed_ones,
    click_word,
    dark_ones,
    displayed,
    find_complaint,
    find_differences,
    healthy_complaint,
    lamp_word,
    ohms_metered,
    tested_word,
    volts_metered,
)

WRONG_OHM = (470, 1000, 2200, 3300, 4700, 5600, 10000, 22000, 47000)  # invented: common resistors of a van
VALUES_OHM = {
    "joint_resistive": (100, 10_000),
    "leak": (300, 30_000),
    "earth_fault": (10, 30_000),
}  # invented: drawn evenly in the logarithm
AT_THE_END = ("fit_end_resistor", "move_end_resistor", "fit_end_relay", "swap_end_relay")
MOST_STEPS = 25
SKIPPED = ("invisible", "no_steady_state")  # nothing to complain of; or nothing that stands still to be read
POLICIES = ("engine", "half", "random")
STYLES = ("zone", "module")


@dataclass(frozen=True, slots=True)
class Plant:
    """A fault in a place of a site, what is told beside it, and the seed of its world."""

    site: Path
    fault: str
    kind: str
    place: str
    context: str
    seed: tuple[int, int]


@dataclass(slots=True)
class Story:
    """One session: what was done and read, how it ended, and whether that was right."""

    fault: str
    site: str
    context: str
    symptom: str
    policy: str
    ended: str = ""
    right: bool | None = None
    right_hands: bool = False
    minutes: float = 0.0
    table_minutes: float = 0.0
    steps: list[str] = field(default_factory=list)
    last: str = ""


# Faults that show at the battery and its lamps only, and alternating volts; this world does not play them.
NOT_PLAYED = frozenset({"mains_off", "battery_dead", "battery_disconnected", "charger_low", "foreign_ac"})


def sites_of(styles: str) -> tuple[Path, ...]:
    """Return the sites of a family of wiring styles."""
    return tuple(site for site in SITES if ("module" in style_of(site)) == (styles == "module"))


def draw_plant(seed: tuple[int, int], styles: str) -> Plant:
    """Draw site, then kind, then place, each evenly, then a value in ohms where the kind has one."""
    rng = np.random.default_rng([*seed, 1])
    sites = sites_of(styles)
    site = sites[rng.integers(len(sites))]
    kinds = [row for row in listed("kinds", site) if row["places"] and row["kind"] not in NOT_PLAYED]
    kind = kinds[rng.integers(len(kinds))]
    place = kind["places"][rng.integers(len(kind["places"]))]
    value = f"={draw_ohm(kind['kind'], site, rng)}" if kind["value_unit"] else ""
    context = str(rng.choice(("new", "aged", "altered", "water")))
    return Plant(site, f"{kind['kind']}{value}@{place}", kind["kind"], place, context, seed)


def draw_ohm(kind: str, site: Path, rng: np.random.Generator) -> int:
    """Return a planted resistance in ohms: a common resistor that is not the right one, or a value of two digits."""
    if kind not in VALUES_OHM:
        named = "panel_resistor." if kind.startswith("panel_resistor") else "end.resistor"
        right = next(e["value"] for e in ask("export", str(site))["elements"] if e["name"].startswith(named))
        return int(rng.choice([ohm for ohm in WRONG_OHM if ohm != round(right)]))
    low, high = np.log(VALUES_OHM[kind])
    return int(float(f"{np.exp(rng.uniform(low, high)):.1e}"))


def logged_word(shown: str | None, earth: str) -> str:
    """Return the gravest entry of the log, from what the panel shows."""
    quiet = "earth_trouble" if earth == "earth_trouble" else "nothing"
    return {"trouble": "trouble_only", "normal": quiet}.get(shown or "normal", shown or "nothing")


def find_answer(world: World, plant: Plant, row: Row) -> str:
    """Return what the person reads or sees for one offered measurement."""
    what, mode, at = row["measurement"], row["mode"], row.get("at", "")
    if what in ("volts", "ohms"):
        unit, read = ("V", volts_metered) if what == "volts" else ("ohm", ohms_metered)
        return displayed(world, read(world, mode, row["red"], row["black"]), unit)
    if what in ("look", "settings"):
        return seen_word(plant, what, at)
    words: dict[str, Callable[[], str | None]] = {
        "panel_shows": lambda: panel_shows(world, mode_states(world, mode), at),
        "known_resistor": lambda: panel_shows(world, mode_states(world, mode), at),
        "head_off": lambda: panel_shows(world, mode_states(world, mode), at),
        "lamp": lambda: lamp_word(world, mode_states(world, mode), at),
        "which_dark": lambda: dark_ones(world, mode_states(world, mode)),
        "which_lit": lambda: alarmed_ones(world, mode_states(world, mode)),
        "dark_with_head_off": lambda: dark_ones(world, mode_states(world, mode), at),
        "functional_test": lambda: tested_word(world, at),
        "listen": lambda: click_word(world),
        "supply_lamps": lambda: "right",  # faults of mains, charger and battery are not planted
        **dict.fromkeys(
            ("earth_lamp", "earth_lifted", "earth_opened"), lambda: earth_says(world, mode_states(world, mode))
        ),
        "ac_volts": lambda: "no_ac",  # no foreign volts are planted
        "event_log": lambda: logged_word(
            panel_shows(world, mode_states(world, mode), "panel"), earth_says(world, mode_states(world, mode))
        ),
    }
    return str(words[what]())


def seen_word(plant: Plant, what: str, at: str) -> str:
    """Return what eyes or a review of settings find here: the same each time, by the published share of lookers."""
    kind = next(row for row in listed("kinds", plant.site) if row["kind"] == plant.kind)
    luck = float(np.random.default_rng([*plant.seed, 3 if what == "look" else 4]).uniform())
    if what == "settings":
        return "setting_wrong" if luck < kind["settings_share"] else "as_it_should_be"
    here = {"here": plant.place.split(".")[0], "end": end_of(plant)}.get(kind["seen_at"], kind["seen_at"])
    return kind["seen_as"] if at == here and luck < kind["seen_share"] else "as_it_should_be"


@cache
def end_detectors(site: Path) -> dict[str, str]:
    """Return where each end resistor is in a healthy circuit, the pair's label (or none) to the detector."""
    named = {e["name"]: e for e in ask("export", str(site))["elements"] if e["name"].startswith("end.resistor")}
    last = list(senses_of(site))[-1]
    wired = {name.removeprefix("end.resistor").lstrip("_"): e["a"].split(".")[0] for name, e in named.items()}
    return {label: at if at.startswith("det") else last for label, at in wired.items()}


def end_of(plant: Plant) -> str:
    """Return the detector at the end that a fault of an end is about: its own pair's, the last one's for the supply."""
    ends, senses = end_detectors(plant.site), senses_of(plant.site)
    if plant.kind.startswith("end_resistor"):
        label = plant.place.removeprefix("end_") if plant.place.startswith("end_") else senses.get(plant.place, "")
        return ends.get(label) or ends.get("") or list(senses)[-1]
    return list(senses)[-1]


def case_text(plant: Plant, symptom: str, readings: Sequence[Row]) -> str:
    """Return a case file with the site written out in it."""
    site = "\n".join("  " + line for line in plant.site.read_text(encoding="utf-8").splitlines())
    taken = "\n".join("  - " + json.dumps(reading, ensure_ascii=False) for reading in readings)
    head = f"format: ohmward-case/1\nsite:\n{site}\ncontext: [{plant.context}]\nsymptom: {symptom}\n"
    return head + (f"readings:\n{taken}\n" if readings else "readings: []\n")


def minutes_of(row: Row, stand: str) -> float:
    """Return the minutes of a listed measurement for someone who stands at a place: the work and the way."""
    if row["place"] == stand:
        return float(row["minutes_there"])
    way = row["minutes_at_panel"] - row["minutes_there"] if stand == "panel" else BETWEEN_MIN
    return float(row["minutes_there"] + (BACK_MIN if row["place"] == "panel" else way))


def play(plant: Plant, world: World, symptom: str, policy: str) -> Story:
    """Play one session to its end and score it."""
    story = Story(plant.fault, plant.site.stem, plant.context, symptom, policy)
    readings: list[Row] = []
    latest, rows = diagnose(plant, symptom, readings), listed("measurements", plant.site)
    chooser = {
        "engine": lambda: choose_asked(rows, lambda: latest),
        "half": lambda: choose_half(rows, symptom, len(world.detectors)),
        "random": lambda: choose_any(rows, np.random.default_rng([*plant.seed, 5])),
    }[policy]()
    stand, value = "panel", ""
    while "crash" not in latest and not latest["settled"] and len(readings) < MOST_STEPS:
        try:
            row = chooser.send(value) if readings else next(chooser)
        except StopIteration:
            break
        value = find_answer(world, plant, row)
        table = minutes_of(row, stand)
        minutes = latest["next"]["minutes"] if policy == "engine" else table
        note_step(story, row, value, minutes, expected_word(latest, plant))
        story.table_minutes += table
        stand = row["place"]
        leads: Row = {key: row[key] for key in ("red", "black", "at") if key in row}
        readings.append({"measurement": row["measurement"], **leads, "mode": row["mode"], "value": value})
        latest = diagnose(plant, symptom, readings)
    if "crash" in latest:
        story.ended, story.last = "crash", f"{latest['crash']}\n{case_text(plant, symptom, readings)}"
    else:
        end_story(story, plant, latest)
    return story


def diagnose(plant: Plant, symptom: str, readings: Sequence[Row]) -> Row:
    """Return the diagnosis; *crash* with what was printed instead when the program ends in any other way."""
    try:
        return ask("diagnose", "-", text=case_text(plant, symptom, readings))
    except AssertionError as error:
        return {"crash": str(error)[-600:]}


def note_step(story: Story, row: Row, value: str, minutes: float, expected: str) -> None:
    """Write one step into the story and add its minutes."""
    name = " ".join(word for word in spot(row) if word)
    story.steps.append(f"{name}: {value}  [{minutes:.1f} min{expected}]")
    story.minutes += minutes


def expected_word(diagnosis: Row, plant: Plant) -> str:
    """Return what the program expects of the planted kind and place at the measurement it asks for."""
    same = [e for e in (diagnosis["next"] or {}).get("expected", []) if is_planted(e["for"], plant)]
    return f"; program expects {[{k: v for k, v in e.items() if k != 'for'} for e in same]}" if same else ""


def is_planted(fault: str, plant: Plant) -> bool:
    """Tell whether a fault of the program's is the planted kind and place, whatever its value."""
    kind, _, place = fault.partition("@")
    return kind.partition("=")[0] == plant.kind and place == plant.place


def run_of(place: str) -> str:
    """Return the run, detector, output, zone or end of a place: one pair of hands mends all of it there."""
    if place.startswith("run det") or place == "run module":
        place = place.removeprefix("run ") + ".in"
    run = place.removeprefix("run ")
    if run.split(".")[0] in ("panel", "reset", "cabinet"):
        return "cabinet"
    return run.rstrip("+-").removesuffix("_a").removesuffix("_b").removesuffix("_power").removesuffix("_contact")


def offered_place(place: str) -> str:
    """Return the words, as a pattern, by which the offer of a repair names the part that a place belongs to."""
    part = place.split(".", maxsplit=1)[0]
    if part in ("panel", "reset"):
        return "(the panel|the reset relay)"
    named = {"module": "the interface module"}.get(part, part)
    return re.sub(r"^(det|zone)(?=\d)", lambda word: {"det": "detector ", "zone": "zone "}[word[1]], named)


def end_story(story: Story, plant: Plant, diagnosis: Row) -> None:
    """Write how it ended and score it: settled right or wrong, else never settled."""
    verdict, asked = diagnosis["verdict"], diagnosis["next"] or {"action": "nothing"}
    story.ended = "settled" if diagnosis["settled"] else asked["action"]
    left = [f"{c['fault']} {c['probability']:.3f}" for c in diagnosis["candidates"][:6]]
    story.last = (
        f"verdict {verdict and (verdict['remedy'], verdict['place'])}; contradiction {diagnosis['contradiction']}; "
    )
    story.last += f"not modelled {diagnosis['not_modelled']:.3g}; {left}; next {asked.get('why', asked['action'])}"
    kind = next(row for row in listed("kinds", plant.site) if row["kind"] == plant.kind)
    if story.ended == "repair":
        where = "" if kind["remedy"] in AT_THE_END else offered_place(plant.place)
        # the offer of a repair names remedy and place in words only
        story.right = kind["remedy_words"][:24] in asked["why"] and re.search(rf"{where}\b", asked["why"]) is not None
    if verdict is not None:
        named = any(is_planted(c["fault"], plant) for c in diagnosis["candidates"])
        here = verdict["remedy"] in AT_THE_END or run_of(verdict["place"]) == run_of(plant.place)
        story.right_hands = verdict["remedy"] == kind["remedy"] and here
        story.right = story.right_hands and named


def run_plant(seed: tuple[int, int], policies: Sequence[str], styles: str) -> list[Story]:
    """Plant one fault in one drawn world and play every policy in it; none when a healthy loop looks the same."""
    plant = draw_plant(seed, styles)
    with tempfile.TemporaryDirectory() as name:
        world = build_world(plant.site, plant.fault, Path(name), [*seed, 2])
        try:
            symptom = find_complaint(world, np.random.default_rng([*seed, 6]))
            if symptom is None or symptom == healthy_complaint(plant.site):
                return [Story(plant.fault, plant.site.stem, plant.context, "none", "none", ended="invisible")]
            return [play(plant, world, symptom, policy) for policy in policies]
        except NeverSettlesError:
            return [Story(plant.fault, plant.site.stem, plant.context, "none", "none", ended="no_steady_state")]


def run_plants(count: int, seed: int, policies: Sequence[str], styles: str = "zone", workers: int = 2) -> list[Story]:
    """Return the stories of ``count`` visible faults under every policy, and one of each that was skipped."""
    stories: list[Story] = []
    seen, number = 0, 0
    play_one = partial(run_plant, policies=tuple(policies), styles=styles)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        while seen < count:
            wanted = [(seed, number + n) for n in range(count - seen)]
            played = list(pool.map(play_one, wanted))
            stories += [story for group in played for story in group]
            seen += sum(group[0].ended not in SKIPPED for group in played)
            number += len(wanted)
    return stories


def tally(stories: Sequence[Story], policy: str) -> Row:
    """Return the figures of one policy."""
    mine = [story for story in stories if story.policy == policy]
    settled = [story for story in mine if story.ended == "settled"]
    return {
        "planted": len(mine),
        "settled_right": sum(story.right is True for story in settled),
        "settled_wrong": sum(story.right is not True for story in settled),
        "of_these_right_hands": sum(story.right is not True and story.right_hands for story in settled),
        "never_settled": len(mine) - len(settled),
        "of_these_right_repair": sum(story.ended == "repair" and story.right is True for story in mine),
        "of_these_wrong_repair": sum(story.ended == "repair" and story.right is False for story in mine),
        "of_these_crashed": sum(story.ended == "crash" for story in mine),
        "minutes_mean": round(float(np.mean([story.minutes for story in mine])), 1),
        "minutes_median": round(float(np.median([story.minutes for story in mine])), 1),
        "table_minutes_mean": round(float(np.mean([story.table_minutes for story in mine])), 1),
        "steps_mean": round(float(np.mean([len(story.steps) for story in mine])), 1),
    }


def story_text(story: Story) -> str:
    """Return a story in lines."""
    head = f"{story.fault} at {story.site} ({story.context}), {story.symptom}, {story.policy}: {story.ended}"
    right = {True: "right", False: "WRONG", None: "no verdict"}[story.right]
    return "\n  ".join([f"{head}, {right}, {story.minutes:.1f} min", *story.steps, story.last])


def compare_one(pair: tuple[str, str]) -> list[str]:
    """Return the differences between predict and the undrawn world, of a site's stem with a fault."""
    site = next(each for each in SITES if each.stem == pair[0])
    with tempfile.TemporaryDirectory() as name:
        return find_differences(site, pair[1], "det3", Path(name))


def compare_all(stories: Sequence[Story]) -> list[str]:
    """Return every difference between predict and the undrawn world, for each fault planted, at a middle detector."""
    pairs = sorted({(story.site, story.fault) for story in stories})
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return [text for texts in pool.map(compare_one, pairs) for text in texts]


def run() -> int:
    """Play, print the figures and every story that went wrong; 1 when anything settled wrong, else 0."""
    reader = argparse.ArgumentParser(
        description="Plant faults in worlds of our own and let the command line find them."
    )
    reader.add_argument("--count", type=int, default=30)
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--styles", choices=STYLES, default="zone")
    reader.add_argument("--policies", default=",".join(POLICIES))
    reader.add_argument("--json", action="store_true")
    reader.add_argument("--compare", action="store_true", help="hold the undrawn world of each fault to predict, too")
    asked = reader.parse_args()
    policies = asked.policies.split(",")
    stories = run_plants(asked.count, asked.seed, policies, asked.styles)
    figures = {policy: tally(stories, policy) for policy in policies}
    told: Row = {"format": "outsider/1", "styles": asked.styles, "seed": asked.seed, "figures": figures}
    for word in SKIPPED:
        told[f"skipped_as_{word}"] = [f"{s.fault} at {s.site}" for s in stories if s.ended == word]
    if asked.compare:
        told["differences_from_predict"] = compare_all(stories)
    if asked.json:
        told["stories"] = [asdict(story) for story in stories]
        sys.stdout.write(json.dumps(told, ensure_ascii=False, indent=1) + "\n")
    else:
        wrong = [s for s in stories if s.policy == "engine" and not (s.ended == "settled" and s.right)]
        sys.stdout.write("\n\n".join([*map(story_text, wrong), json.dumps(told, ensure_ascii=False, indent=1)]) + "\n")
    return int(any(figures[policy]["settled_wrong"] for policy in policies))


if __name__ == "__main__":
    sys.exit(run())
