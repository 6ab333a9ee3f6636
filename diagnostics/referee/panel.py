"""What the referee's world decides for itself: detectors, relays, a module's outputs, and what the panel shows.

Every rule here is read from the words that ``export`` gives its discrete states, bands and labels. The order of
settling: detectors, relays and a module's supply first; then the module's outputs; then what the panel remembers.
"""

from collections.abc import Mapping, Sequence

from .line import Row
from .solver import NoAnswerError, Volts
from .world import Signals, World, is_conducting, solve

LATCHING = ("alarm", "supervisory")
TRIPS = (0.3, 0.25)  # shares of moments in which AC on a pair shows as trouble, and as alarm; invented
GRAVEST_FIRST = ("alarm", "supervisory", "trouble", "normal")
CHANGES = {
    "bypassed": {"alarm": "normal", "trouble": "normal"},
    "unsupervised": {"trouble": "normal"},
    "faulty": {"normal": "trouble"},
    "miskind": {"alarm": "supervisory"},
    "verifies": {"alarm": "normal"},
}


class NeverSettlesError(ArithmeticError):
    """Signals that chase one another for ever, as a supply that gives way under each alarm makes them do."""


def settle(world: World, states: Signals, meter: Sequence[Row] = ()) -> dict[str, bool]:
    """Return the discrete states that agree with their volts, in the order of the module's description."""
    now = dict(states)
    for _ in range(80):
        volts = _solve(world, now, meter)
        after = now | {row["state"]: is_set(row, now, volts) for row in world.thresholds}
        if now.get("panel.short_reset", False):  # the pulse is over before a latch lets go
            after |= hold_latches(world, now, after)
        if after == now and world.channels:
            after |= module_outputs(world, now, volts)
        if after == now:
            words = zone_words(world, now, volts)
            after |= {f"{zone}.latched": True for zone, word in words.items() if word in LATCHING}
            after |= find_links(world, now, volts)
        if after == now:
            return now
        now = after
    raise NeverSettlesError(f"never settles: {sorted(name for name, on in now.items() if on)}")


def _solve(world: World, now: Signals, meter: Sequence[Row]) -> Volts:
    try:
        return solve(world, now, meter)
    except NoAnswerError as error:  # what has no operating point never comes to rest either
        raise NeverSettlesError(str(error)) from error


def hold_latches(world: World, now: Signals, after: Signals) -> dict[str, bool]:
    """Return the latches of detectors as they were, as long as a reset or a relay that it moved is not at rest.

    A bare contact has none.
    """
    is_moving = any(after[name] != on for name, on in now.items() if name.endswith(".operated"))
    if not (now["panel.reset"] or is_moving):
        return {}
    latches = [row["state"] for row in world.thresholds if not row.get("while_needed", False)]
    return {name: True for name in latches if name.endswith(".latched") and now[name]}


def is_set(row: Row, states: Signals, volts: Volts) -> bool:
    """Tell whether a state with thresholds is on after these volts; a dead or removed part is never on."""
    part = row["state"].split(".")[0]
    if states.get(part + ".dead", False) or states.get(part + ".head_off", False):
        return False
    if row.get("while_needed", False):  # a bare contact: closed as long as there is cause
        return states[row["set_needs"]]
    across_v = volts.get(row["plus"], 0.0) - volts.get(row["minus"], 0.0)
    across_v = abs(across_v) if row.get("either_way", False) else across_v
    if states[row["state"]]:
        return bool(across_v >= row["cleared_below"])
    needs = row.get("set_needs")
    return bool(across_v >= row["set_from"] and (needs is None or states[needs]))


def band_state(windows: Sequence[Row], at_v: float) -> str:
    """Return the state of the band that volts fall in."""
    return str(find_band(windows, at_v)["state"])


def find_band(windows: Sequence[Row], at_v: float) -> Row:
    """Return the band that volts fall in."""
    return next(
        w for w in windows if (w["low"] is None or at_v >= w["low"]) and (w["high"] is None or at_v < w["high"])
    )


def module_outputs(world: World, states: Signals, volts: Volts) -> dict[str, bool]:
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


def is_fed(world: World, zone: Row, states: Signals) -> bool:
    """Tell whether a zone has its source."""
    feeds = (
        f"source.{zone['zone']}.",
        f"rail.{zone['zone']}.",
    )  # by name: a worn feed lies between it and the terminal
    on = [p for p in world.parts if p["type"] == "source" and f"{p['name']}.".startswith(feeds)]
    return any(is_conducting(p, states) for p in on)


def zone_band(world: World, zone: Row, states: Signals, volts: Volts) -> str | None:
    """Return what the volts at a zone's terminals mean to the panel; None while its source is off."""
    if not is_fed(world, zone, states):
        return None
    return band_state(world.windows[zone["zone"]], volts[zone["plus"]] - volts[zone["minus"]])


def find_links(world: World, states: Signals, volts: Volts) -> dict[str, bool]:
    """Return which class A zones are fed from both ends from now on: an open that the panel saw outside a reset."""
    linked: dict[str, bool] = {}
    for zone in world.zones:
        name, seen_v = f"{zone['zone']}.linked", volts[zone["plus"]] - volts[zone["minus"]]
        if name not in states or states["panel.reset"] or states[f"{zone['zone']}.bypassed"]:
            continue  # nobody looks at this zone now
        if is_fed(world, zone, states):
            linked[name] = states[name] or find_band(world.windows[zone["zone"]], seen_v)["band"] == "open"
    return linked


def zone_words(world: World, states: Signals, volts: Volts) -> dict[str, str | None]:
    """Return each zone's word after its own faults and settings, before what the panel remembers."""
    words: dict[str, str | None] = {}
    for zone in world.zones:
        name, word = zone["zone"], zone_band(world, zone, states, volts)
        stays = states.get(f"{name}.linked", False) or states.get(f"{name}.display", False)
        word = "trouble" if word == "normal" and stays else word
        for state, change in CHANGES.items():
            if word is not None and states.get(f"{name}.{state}", False):
                word = change.get(word, word)
        words[name] = word
    return words


def zones_show(world: World, states: Signals) -> dict[str, str | None]:
    """Return the word at each zone's place on the panel: a remembered alarm stays until reset; None when down."""
    volts = solve(world, states)
    if states["panel.on_battery"] and volts["panel.battery+"] - volts["panel.battery-"] < world.gauges["runs_from_v"]:
        return dict.fromkeys(zone["zone"] for zone in world.zones)  # the panel itself has stopped
    words = zone_words(world, states, volts)
    for name, word in words.items():
        if word and states[f"{name}.latched"]:
            words[name] = "supervisory" if states.get(f"{name}.miskind", False) else "alarm"
    for name in (zone for zone in list_uneasy(world) if not states.get(f"{zone}.lifted", False)):
        luck = world.draw("uneasy", name, *sorted(state for state, on in states.items() if on)).uniform()
        words[name] = (find_chatter(luck) or words[name]) if words[name] else None
    if states.get("panel.exchanged", False):
        words = dict(zip(words, reversed(words.values()), strict=True))
    return words


def list_uneasy(world: World) -> tuple[str, ...]:
    """Return the zones that foreign AC makes uneasy; in a world exactly as described nothing is left to luck."""
    some = (zone["zone"] for zone in world.zones)
    return () if world.seed is None else tuple(z for z in some if world.start.get(f"{z}.uneasy", False))


def find_chatter(luck: float) -> str | None:
    """Return what AC makes a panel show at one moment, by luck between 0 and 1; None for what its volts mean."""
    return next((word for word, share in (("trouble", TRIPS[0]), ("alarm", sum(TRIPS))) if luck < share), None)


def panel_shows(world: World, states: Signals, zone: str | None = None) -> str | None:
    """Return the word of one zone; of a name that is no zone, the gravest that the panel shows at all."""
    words = zones_show(world, states)
    if zone in words:
        return words[zone]
    return next((word for word in GRAVEST_FIRST if word in words.values()), None)


def mode_states(world: World, mode: str) -> dict[str, bool]:
    """Return the settled discrete states of a mode: power up, one action after the other, settling after each."""
    if mode not in world.modes:
        states = settle(world, world.start) if mode == "standby" else mode_states(world, "standby")
        names = [zone["zone"] for zone in world.zones]
        for action in actions_of(mode, names, world.start, has_module=bool(world.channels)):
            states = settle(world, states | {name: on for name, on in action.items() if name not in world.barred})
        world.modes[mode] = states
    return world.modes[mode]


def actions_of(
    mode: str, zones: Sequence[str], start: Mapping[str, bool], *, has_module: bool
) -> Sequence[dict[str, bool]]:
    """Return the actions of a mode in order, as signals that change."""
    word, _, at = mode.partition(":")
    kept = ("latched", "linked", "display")
    over = {f"{zone}.{word}": False for zone in zones for word in kept if f"{zone}.{word}" in start}
    pulse = [{"panel.reset": True, **over}, {"panel.reset": False}]
    off_panel = {f"{zone}.lifted": True for zone in zones}
    known = off_panel | {f"{zone}.known": True for zone in zones}
    lifted = off_panel | ({"module.lifted": True} if has_module else {})
    off_return = {name: True for name in start if name.endswith(".return_lifted")}
    off_there = f"{at}.lifted" if f"{at}.lifted" in start else f"{at}.unfed"
    return {
        "standby": [],
        "opened": [{f"{at}.opened": True}],
        "cut_off": [{f"{at}.opened": True, **off_return}],
        "pair_lifted": [{off_there: True}],
        "return_lifted": [off_return],
        "during_reset": pulse[:1],
        "on_battery": [{"panel.on_battery": True}],
        "lifted": [lifted | {"panel.down": True}],
        "lifted_supply_on": [lifted],
        "known_resistor": [known, *pulse],
        "alarm": [{f"{at}.smoke": True}],
        "after_reset": [{f"{at}.smoke": True}, {f"{at}.smoke": False} | pulse[0], pulse[1]],
        "head_off": [{f"{at}.head_off": True}],
    }[word]
