"""What is wrong in a world and in no catalogue: effects that the engine has no fault for, put into a drawn circuit.

Each is one that some bench has met: common practice, no source. Values are invented.
"""

from collections.abc import Callable, Sequence

import numpy as np

from .line import Row

PREFIX = "outside."
STRANGE = "strange."  # begins the name of every part that an effect adds


class NoRoomError(LookupError):
    """There is no part in this circuit that the effect could sit in."""


def apply_outside(name: str, parts: Sequence[Row], rng: np.random.Generator) -> list[Row]:
    """Return the parts of a circuit with an effect in it, its place and value drawn; raises NoRoomError."""
    return OUTSIDE[name.removeprefix(PREFIX)]([dict(part) for part in parts], rng)


def _pick_run(parts: list[Row], rng: np.random.Generator, endings: tuple[str, ...] = ("+", "_a", "_b")) -> Row:
    """Return one conductor of a run into a detector."""
    runs = [p for p in parts if p["type"] == "conductor" and p["name"].startswith("wire.det")]
    some = [p for p in runs if p["name"].endswith(endings)]
    if not some:
        raise NoRoomError("no runs here")
    return some[int(rng.integers(len(some)))]


def _pick_pair(parts: list[Row], rng: np.random.Generator) -> tuple[str, str]:
    """Return the two terminals at which one pair of a run arrives."""
    ends = {p["b"] for p in parts if p["type"] == "conductor"}
    pairs = [(a, a[: -len(one)] + two) for a in sorted(ends) for one, two in (("in+", "in-"), ("in_a", "in_b"))
             if a.endswith(one) and a[: -len(one)] + two in ends]  # fmt: skip
    if not pairs:
        raise NoRoomError("no pair here")
    return pairs[int(rng.integers(len(pairs)))]


def _curve(name: str, ends: tuple[str, str], points: list[list[float]], slopes: tuple[float, float]) -> Row:
    row = {"name": name, "type": "bridge", "a": ends[0], "b": ends[1], "emf": None, "points": points}
    return {**row, "before_s": slopes[0], "after_s": slopes[1], "when": [], "spreads": []}


def _in_series(parts: list[Row], run: Row, points: list[list[float]], slopes: tuple[float, float]) -> list[Row]:
    """Cut a conductor where it arrives and put a part in."""
    goal, run["b"] = run["b"], f"cut.{run['name']}"
    return [*parts, _curve(f"{STRANGE}{run['name']}", (run["b"], goal), points, slopes)]


def _rectifying_joint(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let a corroded joint pass current one way only, after a drop of its own."""
    drop_v = float(rng.uniform(0.4, 3.0))
    run = _pick_run(parts, rng)
    return _in_series(parts, run, [[0.0, 0.0], [drop_v, 1e-6]], (1e-7, 1.0))


def _cell_in_run(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let wet metals make a cell of a few volts in a conductor."""
    cell_v = float(rng.uniform(2.0, 6.0)) * (1 if rng.uniform() < 0.5 else -1)
    return _in_series(parts, _pick_run(parts, rng), [[cell_v, 0.0], [cell_v + 1.0, 0.01]], (0.01, 0.01))


def _thermal_limiter(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let something in a conductor pass no more than a little current, as a tripped limiter does."""
    limit_a = float(rng.uniform(0.2e-3, 2e-3))
    return _in_series(parts, _pick_run(parts, rng), [[-1.0, -limit_a], [1.0, limit_a]], (1e-6, 1e-6))


def _foreign_source(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let a pair carry volts from elsewhere, through a resistance."""
    emf_v, ohm = float(rng.uniform(5.0, 40.0)), float(np.exp(rng.uniform(np.log(200), np.log(3000))))
    return [
        *parts,
        _curve(f"{STRANGE}source", _pick_pair(parts, rng), [[emf_v, 0.0], [emf_v + ohm, 1.0]], (1 / ohm, 1 / ohm)),
    ]


def _breaking_down(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let a pair break down above some volts, as a surge arrester past its life does."""
    knee_v = float(rng.uniform(3.0, 18.0))
    return [
        *parts,
        _curve(f"{STRANGE}arrester", _pick_pair(parts, rng), [[knee_v, 0.0], [knee_v + 1.0, 0.02]], (0.0, 0.02)),
    ]


def _tired_zone_source(parts: list[Row], rng: np.random.Generator) -> list[Row]:
    """Let what feeds a zone give fewer volts through more ohms."""
    zones = [p for p in parts if p["type"] == "source" and p["name"].startswith("source.zone")]
    if not zones:
        raise NoRoomError("no zone here")
    source = zones[int(rng.integers(len(zones)))]
    emf_v, ohm = source["emf"] * float(rng.uniform(0.4, 0.85)), float(rng.uniform(1.2, 4.0)) / source["after_s"]
    limit_a = source["points"][0][1]
    source.update(emf=emf_v, points=[[emf_v + limit_a * ohm, limit_a]], after_s=1 / ohm)
    return parts


OUTSIDE: dict[str, Callable[[list[Row], np.random.Generator], list[Row]]] = {
    "rectifying_joint": _rectifying_joint,
    "cell_in_run": _cell_in_run,
    "thermal_limiter": _thermal_limiter,
    "foreign_source": _foreign_source,
    "breaking_down": _breaking_down,
    "tired_zone_source": _tired_zone_source,
}
