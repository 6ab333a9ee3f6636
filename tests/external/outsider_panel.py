"""What the outsider's world decides for itself: detectors, relays, a module's outputs, and what the panel shows.

Every rule here is read from the words that ``export`` gives its discrete states, bands and labels. The order of
settling: detectors, relays and a module's supply first; then the module's outputs; then what the panel remembers.
"""

from collections.abc import Sequence

from tests.external.outsider_circuit import States, Volts, World, is_conducting, solve
from tests.external.outsider_line import Row

LATCHING = ("alarm", "supervisory")
GRAVEST_FIRST = ("alarm", "supervisory", "trouble", "normal")
CHANGES = {
    "bypassed": {"alarm": "normal", "trouble": "normal"},
    "unsupervised": {"trouble": "normal"},
    "faulty": {"normal": "trouble"},
    "miskind": {"alarm": "supervisory"},
    "verifies": {"alarm": "normal"},
}


class NeverSettlesError(AssertionError):
    """States that chase one another for ever, as a supply that gives way under each alarm makes them do."""


def settle(world: World, states: States, meter: str = "") -> dict[str, bool]:
    """Return the discrete states that agree with their volts, in the order of the module's description."""
    now = dict(states)
    for _ in range(80):
        volts = solve(world, now, meter)
        after = now | {row["state"]: is_set(row, now, volts) for row in world.thresholds}
        if after == now and world.channels:
            after |= module_outputs(world, now, volts)
        if after == now:
            words = zone_words(world, now, volts)
            after |= {f"{zone}.latched": True for zone, word in words.items() if word in LATCHING}
        if after == now:
            return now
        now = after
    raise NeverSettlesError(f"never settles: {sorted(name for name, on in now.items() if on)}")


def is_set(row: Row, states: States, volts: Volts) -> bool:
    """Tell whether a state with thresholds is on after these volts; a dead or removed part is never on."""
    part = row["state"].split(".")[0]
    if states.get(part + ".dead", False) or states.get(part + ".head_off", False):
        return False
    across_v = volts.get(row["plus"], 0.0) - volts.get(row["minus"], 0.0)
    across_v = abs(across_v) if row.get("either_way", False) else across_v
    if states[row["state"]]:
        return bool(across_v >= row["cleared_below"])
    needs = row.get("set_needs")
    return bool(across_v >= row["set_from"] and (needs is None or states[needs]))


def band_state(windows: Sequence[Row], at_v: float) -> str:
    """Return the state of the band that volts fall in."""
    fits = [w for w in windows if (w["low"] is None or at_v >= w["low"]) and (w["high"] is None or at_v < w["high"])]
    return str(fits[0]["state"])


def module_outputs(world: World, states: States, volts: Volts) -> dict[str, bool]:
    """Return a module's trouble, fire and CO: by the bands of its pairs, by label or latched detectors, if powered."""
    powered = states["module.operated"]
    seen = [(c["label"], band_state(c["bands"], volts[c["plus"]] - volts[c["minus"]])) for c in world.channels]
    alarmed = {label for label, state in seen if state == "alarm"}
    if None in alarmed:  # a two-wire loop: the latched detectors' labels decide, fire when none is latched
        latched = {label for name, label in world.senses.items() if states[f"{name}.latched"]}
        alarmed = (alarmed - {None}) | (latched or {"fire"})
    return {
        "module.trouble": powered and any(state == "trouble" for _, state in seen),
        "module.fire": powered and "fire" in alarmed,
        "module.co": powered and "co" in alarmed,
    }


def zone_band(world: World, zone: Row, states: States, volts: Volts) -> str | None:
    """Return what the volts at a zone's terminals mean to the panel; None while its source is off."""
    if not any(p["type"] == "source" and p["a"] == zone["plus"] and is_conducting(p, states) for p in world.parts):
        return None
    return band_state(world.windows[zone["zone"]], volts[zone["plus"]] - volts[zone["minus"]])


def zone_words(world: World, states: States, volts: Volts) -> dict[str, str | None]:
    """Return each zone's word after its own faults and settings, before what the panel remembers."""
    words: dict[str, str | None] = {}
    for zone in world.zones:
        name, word = zone["zone"], zone_band(world, zone, states, volts)
        for state, change in CHANGES.items():
            if word is not None and states.get(f"{name}.{state}", False):
                word = change.get(word, word)
        words[name] = word
    return words


def zones_show(world: World, states: States) -> dict[str, str | None]:
    """Return the word at each zone's place on the panel: a remembered alarm stays until reset; None when down."""
    words = zone_words(world, states, solve(world, states))
    for name, word in words.items():
        if word and states[f"{name}.latched"]:
            words[name] = "supervisory" if states.get(f"{name}.miskind", False) else "alarm"
    if states.get("panel.exchanged", False):
        words = dict(zip(words, reversed(words.values()), strict=True))
    return words


def panel_shows(world: World, states: States, zone: str | None = None) -> str | None:
    """Return the word of one zone; of a name that is no zone, the gravest that the panel shows at all."""
    words = zones_show(world, states)
    if zone in words:
        return words[zone]
    return next((word for word in GRAVEST_FIRST if word in words.values()), None)


def earth_says(world: World, states: States) -> str:
    """Return what the panel says of earth: a trouble where it lies too far off the middle between plus and minus."""
    if world.earth is None:
        return "right"
    volts = solve(world, states)
    off_v = abs(volts[world.earth["plus"]] + volts[world.earth["minus"]]) / 2
    return "earth_trouble" if off_v > world.earth["trouble_from"] else "right"


def mode_states(world: World, mode: str) -> dict[str, bool]:
    """Return the settled discrete states of a mode: power up, one action after the other, settling after each."""
    if mode not in world.modes:
        states = settle(world, world.start) if mode == "standby" else mode_states(world, "standby")
        for action in actions_of(mode, [zone["zone"] for zone in world.zones], has_module=bool(world.channels)):
            states = settle(world, states | action)
        world.modes[mode] = states
    return world.modes[mode]


def actions_of(mode: str, zones: Sequence[str], *, has_module: bool) -> Sequence[dict[str, bool]]:
    """Return the actions of a mode in order, as signals that change."""
    word, _, at = mode.partition(":")
    pulse = [{"panel.reset": True, **{f"{zone}.latched": False for zone in zones}}, {"panel.reset": False}]
    off_panel = {f"{zone}.lifted": True for zone in zones}
    known = off_panel | {f"{zone}.known": True for zone in zones}
    lifted = off_panel | ({"module.lifted": True} if has_module else {})
    return {
        "standby": [],
        "during_reset": pulse[:1],
        "lifted": [lifted | {"panel.down": True}],
        "lifted_supply_on": [lifted],
        "known_resistor": [known, *pulse],
        "alarm": [{f"{at}.smoke": True}],
        "after_reset": [{f"{at}.smoke": True}, {f"{at}.smoke": False} | pulse[0], pulse[1]],
        "head_off": [{f"{at}.head_off": True}],
        "opened": [{f"{at}.opened": True}],
        "pair_lifted": [{f"{at}.{'lifted' if at in zones else 'unfed'}": True}],
    }[word]
