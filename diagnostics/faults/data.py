"""The fault catalogue's data: titles, remedies, what the eye sees, weights by context."""

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.source import Amps, Ohms, Volts, parse_model, read_file

_FILE = Path(__file__).with_name("kinds.yaml")
Context = Literal["new", "aged", "altered", "water", "other_trades", "seasonal", "mains_interrupted", "comes_and_goes"]
Way = Literal["across", "along", "between", "to_earth"]
# Pasts that each kind has a weight of its own for, and signs that only shift these.
CONTEXTS: tuple[Context, ...] = ("new", "aged", "altered", "water")
SIGNS: tuple[Context, ...] = ("other_trades", "seasonal", "mains_interrupted", "comes_and_goes")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Sees(_Strict):
    """What a look finds: a token, the place, and the share of lookers who find it.

    ``here`` is the place of the fault, ``before`` the detector before it, or where the loop starts.
    """

    token: str
    at: Literal["end", "reset", "panel", "here", "before"]
    share: float


class Head(_Strict):
    """What becomes of a fault when its head changes places with another: shares that go along, and that are cured."""

    moves: float = 0.0
    cured: float = 0.0


class ComesOut(_Strict):
    """What a meter shows of what comes out at the repair of a kind, and which way it is measured.

    ``own`` are the ohms of the fault itself, ``right`` so many ``times`` those that belong there.
    """

    way: Way
    reads: Literal["own", "right", "open", "touching"] = "own"
    times: float = 1.0


class KindData(_Strict):
    """One entry of the catalogue; weights are relative. ``settings_share``: how often a settings review finds it.

    ``removes``: the part that is not there, so that nobody can put leads on it; what is seen instead is in ``sees``.
    ``out`` is what there is to measure of what comes out; None where no meter could tell anything of it.
    ``head`` says how far the fault lives in the head; what neither moves nor is cured stays in base or cable.
    """

    title: str
    family: str
    remedy: str
    weights: dict[Context, float]
    sees: Sees
    settings_share: float = 0.0
    removes: Literal["end_relay"] | None = None
    head: Head = Head()
    out: ComesOut | None = None


class Remedy(_Strict):
    """What to do about it: words, minutes of work, parts to carry.

    ``lifts``: a wire or a head comes off for it; ``rewires``: wires are landed or joined for it.
    """

    words: str
    minutes: float
    parts: tuple[str, ...]
    lifts: bool = True
    rewires: bool = False


class Values(_Strict):
    """Values that faults can have (ohms) and the weights of the two special hypotheses.

    ``spread_share`` is one sd of a fault's own value, ``earth_spread_share`` of an earth fault's, so that few of them
    serve; ``thin_run_times`` how many times the right resistance a run too long or too thin has;
    ``low_charger_share`` what is left of the charger's volts, ``flat_battery_share`` of the volts of a battery
    that is never charged. ``double_share`` is how often two faults
    are there at once. ``crowd_heads`` is how many heads a crowded loop has more than described, ``contact_zone_a`` the
    current limit of a zone that is made for contacts only.
    """

    end_resistor_ohm: tuple[Ohms, ...]
    joint_ohm: tuple[Ohms, ...]
    leak_ohm: tuple[Ohms, ...]
    earth_ohm: tuple[Ohms, ...]
    spread_share: float
    earth_spread_share: float
    thin_run_times: float
    dead_battery_ohm: Ohms
    low_charger_share: float
    flat_battery_share: float
    crowd_heads: int
    contact_zone_a: Amps
    healthy_weight: float
    not_modelled_share: float
    double_share: dict[Context, float]


class WayOut(_Strict):
    """By what factors a part may read otherwise than where it sat, and with the leads turned."""

    within: float
    turned: float


class CameOut(_Strict):
    """How far what came out may read from what was foreseen, by the way it is measured, and what counts as what.

    ``from_share`` is the share of the likeliest from which on a fault is still foreseen; ``diode_open_v`` what the
    diode range of a meter shows at least of what is open.
    """

    ways: dict[Way, WayOut]
    open_ohm: Ohms
    touching_ohm: Ohms
    own_v: Volts
    diode_open_v: Volts
    from_share: float


class Catalogue(_Strict):
    """The whole file; ``signs`` are factors on the weights of a family or of a kind, which goes before its family."""

    format: Literal["ohmward-faults/1"]
    kinds: dict[str, KindData]
    remedies: dict[str, Remedy]
    values: Values
    came_out: CameOut
    signs: dict[Context, dict[str, float]]


@cache
def read_catalogue() -> Catalogue:
    """Return the catalogue that ships with the package."""
    return parse_model(read_file(_FILE), Catalogue)
