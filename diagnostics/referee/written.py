"""Circuits that the referee writes itself, from words about the installation: class A, dry contacts, two loops.

The words are those of a bench of the trade: what is wired to what, in which order, with which value. No circuit of the
engine's was copied: where the two differ, one of them is wrong, and a test says so.
"""

from pathlib import Path
from typing import Any

from .draft import COPPER_OHM_M, Chain, Draft, NotPlayedError, read_si, when
from .line import Line, Row, find_style, list_detectors, list_panel_values, read_loops, read_site
from .mischief import apply_fault

WRITTEN = ("class_a_zone", "dry_contacts", "two_loops")
AWG_MM2 = {"18 AWG": 0.8230, "16 AWG": 1.309, "14 AWG": 2.081}  # ASTM B258
BATTERY_MINUS = ("panel.battery-", "panel.common")
HOLDS = ("bypassed", "display", "faulty", "miskind", "uneasy", "unsupervised", "verifies")


def write_circuit(line: Line, site: Path, fault: str) -> Row:
    """Return the circuit of a site of a style in ``WRITTEN``, with a fault or *healthy*.

    Raises
    ------
    NotPlayedError
        The referee has no words for this kind of fault, or for this wiring.
    """
    data, loops, style = read_site(site), read_loops(site), find_style(site)
    panel = str(data.get("panel", {}).get("profile", "panel_24v"))
    draft = Draft(list_panel_values(line, site), _read_spreads(line, panel))
    zones = [{"zone": loop["zone"], **_zone_ends(loop["zone"])} for loop in loops]
    right = {name: read_si(zone["end_resistor"], "ohm") for name, zone in data["zones"].items()}
    _write_panel(draft, {zone["zone"]: right[zone["zone"]] for zone in zones}, is_feeding=style == "class_a_zone")
    first = 1
    if style == "two_loops":
        _write_reset(draft, line, next(loop for loop in loops if loop.get("reset") == "relay"))
    for number, loop in enumerate(loops):
        first = _write_loop(draft, line, loop, (number, first))
    for name in fault.split(",") if fault != "healthy" else ():
        apply_fault(draft, name)
    draft.add_insulation(draft.ohms("leak_ohm"))
    senses = {name: str(zone["senses"]) for name, zone in data["zones"].items()}
    rows = [{**zone, "senses": senses[zone["zone"]]} for zone in zones]
    exported = line.export(site)  # for the data sheets of meter and, where windows are no volts, of the panel
    bands = {zone["zone"]: _list_bands(draft) or exported["panel"][zone["zone"]] for zone in zones}
    return draft.build(rows, bands, exported["meter"])


def _read_spreads(line: Line, panel: str) -> dict[str, float]:
    """Return one deviation as a share of each value of a profile that has one: *profile.value*, *panel.value* of it."""
    return {
        f"{'panel' if row['profile'] == panel else row['profile']}.{name}": value["spread_percent"] / 100
        for row in line.list_rows("profiles")
        for name, value in row["values"].items()
        if value["spread_percent"]
    }


def _zone_ends(zone: str) -> Row:
    return {"plus": f"panel.{zone}+", "minus": f"panel.{zone}-"}


def _list_bands(draft: Draft) -> list[Row]:
    """Return the windows of a zone in volts, as the site file states them; none where it states shares instead."""
    names = ("short_below_v", "alarm_below_v", "normal_from_v", "open_from_v")
    if any(str(draft.values[name]) == "none" for name in names):
        return []
    edges = [None, *(draft.volts(name) for name in names), None]
    words = [
        ("short", draft.values["short_state"]),
        ("alarm", "alarm"),
        ("in between", draft.values["between_state"]),
        ("normal", "normal"),
        ("open", "trouble"),
    ]
    return [
        {"band": band, "state": str(state), "low": edges[n], "high": edges[n + 1]}
        for n, (band, state) in enumerate(words)
    ]


def _write_panel(draft: Draft, zones: dict[str, float], *, is_feeding: bool) -> None:
    """Write outputs, screws and earth detection; a zone that feeds its detectors is dropped to 0 V by a reset.

    ``zones`` has the ohms of the end resistor that each wants.
    """
    for name in ("down", "exchanged", "on_battery", "reset", "short_reset"):
        draft.add_state(f"panel.{name}")
    joint_ohm = draft.ohms("joint_ohm")
    made = (draft.volts("aux_v"), draft.ohms("aux_ohm"), read_si(draft.values["aux_limit_a"], "A"))
    supply = draft.spread("aux_supply", "emf", draft.spreads["panel.aux_v"])
    _write_output(draft, "aux", made, [], supply)
    draft.add_ohms("joint", "screw.aux-", ("panel.aux-", "panel.common"), joint_ohm)
    for terminal in ("panel.aux+", "panel.common"):
        draft.add_ohms("resistor", f"earth.{terminal}", (terminal, "earth"), draft.ohms("earth_ohm"))
    _write_battery(draft)
    for zone, right_ohm in zones.items():
        _write_zone(draft, zone, right_ohm, is_feeding=is_feeding)


def _write_output(
    draft: Draft, name: str, made: tuple[float, float, float], on: list[Row], shares: list[Row] | None = None
) -> None:
    """Write an output of the panel: from mains a source of its own, without mains the battery through its ohms.

    ``made`` are its volts, its ohms and its limit in amperes; no current goes back into the battery. A panel that works
    down to more volts than those turns the battery's into them, for as long as it works.
    """
    plus, (volts, ohm, limit_a) = f"panel.{name}+", made
    powered = [*when(panel__down=False, panel__on_battery=False), *on]
    draft.add_source(f"source.{name}", plus, made, powered, shares or [])
    if volts < (runs_v := draft.volts("runs_from_v")):
        ends: dict[str, Any] = {"plus": "panel.battery+", "minus": "panel.battery-", "set_needs": None}
        draft.add_state("panel.runs", **ends, set_from=runs_v, cleared_below=runs_v)
        made_of = [*when(panel__down=False, panel__on_battery=True, panel__runs=True), *on]
        draft.add_source(f"rail.{name}", plus, made, made_of, shares or [])
        return
    rail = {"points": [[0.0, 0.0], [limit_a * ohm, limit_a]], "after_s": 0.0}
    carried = [*when(panel__down=False, panel__on_battery=True), *on]
    draft.add_curve("source", f"rail.{name}", ("panel.battery+", plus), rail, carried)


def _write_battery(draft: Draft) -> None:
    """Write a charged battery and its charger: at rest the charger holds it, without mains it carries the panel."""
    made = (draft.volts("charger_v"), draft.ohms("charger_ohm"), read_si(draft.values["charger_limit_a"], "A"))
    moved = draft.spread("charger", "emf", draft.spreads["panel.charger_v"])
    draft.add_source("source.charger", "panel.battery+", made, when(panel__down=False, panel__on_battery=False), moved)
    rest_v = draft.volts("battery_v")
    curve = {"points": [[rest_v, 0.0]], "before_s": 1 / draft.ohms("battery_ohm"), "emf": rest_v}
    curve |= {"after_s": 1 / draft.ohms("trickle_ohm")}
    moved = draft.spread("battery", "emf", draft.spreads["panel.battery_v"])
    draft.add_curve("source", "source.battery", ("battery.+", "panel.battery-"), curve, when(panel__down=False), moved)
    for name, ends in (("lead.battery", ("battery.+", "panel.battery+")), ("screw.battery-", BATTERY_MINUS)):
        draft.add_ohms("joint", name, ends, draft.ohms("joint_ohm"))
    on = when(panel__down=False, panel__on_battery=True)
    draft.add_ohms("resistor", "load.panel", ("panel.battery+", "panel.common"), draft.ohms("panel_ohm"), on)


def _write_zone(draft: Draft, zone: str, right_ohm: float, *, is_feeding: bool) -> None:
    """Write a zone's source and screws, the landings of its field wires, and a known resistor to put on."""
    for word in (*HOLDS, "known", "latched", "lifted"):
        draft.add_state(f"{zone}.{word}")
    plus, joint_ohm = f"panel.{zone}+", draft.ohms("joint_ohm")
    made = (draft.volts("zone_v"), draft.ohms("zone_ohm"), read_si(draft.values["zone_limit_a"], "A"))
    shares = draft.spread("zone_supply", "emf", draft.spreads["panel.zone_v"])
    shares += draft.spread("zone_source", "resistance", draft.spreads["panel.zone_ohm"])
    _write_output(draft, zone, made, when(panel__reset=False) if is_feeding else [], shares)
    if is_feeding:
        draft.add_ohms("resistor", f"dropped.{zone}", (plus, "panel.common"), made[1], when(panel__reset=True))
    draft.add_ohms("joint", f"screw.{zone}-", (f"panel.{zone}-", "panel.common"), joint_ohm)
    for sign in "+-":
        ends = (f"panel.{zone}{sign}", f"field.{zone}{sign}")
        draft.add_ohms("joint", f"landing.{zone}{sign}", ends, joint_ohm, when(**{f"{zone}__lifted": False}))
    draft.add_ohms("resistor", f"known.{zone}", (plus, f"panel.{zone}-"), right_ohm, when(**{f"{zone}__known": True}))


def _write_reset(draft: Draft, line: Line, loop: Row) -> None:
    """Write the reset relay: its common fed from the auxiliary output, its coil from an output that reset drives."""
    profile = str(loop.get("reset_relay", {}).get("profile", "relay_24v"))
    relay = line.list_values(profile)
    contact_ohm = read_si(relay["contact_ohm"], "ohm")
    thresholds: dict[str, Any] = {"plus": "panel.reset+", "minus": "panel.reset-", "set_needs": None}
    thresholds |= {"set_from": read_si(relay["pull_in_v"], "V"), "cleared_below": read_si(relay["drop_out_v"], "V")}
    draft.add_state("reset.operated", **thresholds)
    draft.add_ohms("joint", "link.reset", ("panel.aux+", "reset.com"), draft.ohms("joint_ohm"))
    for contact, on in (("nc", False), ("no", True)):
        ends, condition = ("reset.com", f"reset.{contact}"), when(reset__operated=on)
        draft.add_ohms("contact", f"contact.{contact}", ends, contact_ohm, condition)
    made = (read_si(relay["drive_v"], "V"), read_si(relay["drive_ohm"], "ohm"), 1.0)
    moved = draft.spread("reset_drive", "emf", draft.spreads[f"{profile}.drive_v"])
    _write_output(draft, "reset", made, when(panel__reset=True), moved)
    draft.add_ohms("joint", "screw.reset-", ("panel.reset-", "panel.common"), draft.ohms("joint_ohm"))
    draft.add_ohms("coil", "coil.reset", ("panel.reset+", "panel.reset-"), read_si(relay["coil_ohm"], "ohm"))


def _write_loop(draft: Draft, line: Line, loop: Row, at: tuple[int, int]) -> int:
    """Write one loop from the panel to its end; return the number of the detector that comes next."""
    number, first = at
    kind = loop["style"]
    ends = {"class_a_zone": _ends_of_zone, "dry_contacts": _ends_of_contacts, "four_wire_zone": _ends_of_four}[kind](
        loop["zone"]
    )
    rows = list_detectors(loop)
    for place, row in enumerate(rows):
        name = f"det{first + place}"
        for wire, start in ends.items():
            off = _find_off(draft, start, f"{name}.in_power")
            _write_run(draft, line, (start, f"{name}.in{wire}"), (loop, row["run"]), off)
        write = {"class_a_zone": _write_two_wire, "dry_contacts": _write_contact, "four_wire_zone": _write_four_wire}
        write[kind](draft, name, row, line)
        ends = {wire: f"{name}.out{wire}" for wire in ends}
    ohm, last = read_si(loop["end_resistor"]["resistance"], "ohm"), f"det{first + len(rows) - 1}"
    if kind == "class_a_zone":
        _write_way_back(draft, line, loop, last)
    chain = Chain(
        loop["zone"], tuple(f"det{first + n}" for n in range(len(rows))), "" if number == 0 else str(number + 1)
    )
    draft.chains.append(chain)
    _write_end(draft, line, (loop, ohm), chain)
    return first + len(rows)


def _ends_of_zone(zone: str) -> dict[str, str]:
    return {"+": f"field.{zone}+", "-": f"field.{zone}-"}


def _ends_of_contacts(zone: str) -> dict[str, str]:
    return {"_a": f"field.{zone}+", "_b": f"field.{zone}-"}


def _ends_of_four(zone: str) -> dict[str, str]:
    return {"+": "reset.nc", "-": "panel.aux-", **_ends_of_contacts(zone)}


def _find_off(draft: Draft, start: str, fed: str) -> list[Row]:
    """Return when a wire is on its terminal: unless it was taken off a detector, or off the panel that feeds a run."""
    name, _, terminal = start.partition(".")
    if name == "field":
        return []  # taken off with the landing of its zone
    off = f"{name}.opened" if terminal.startswith("out") else f"{fed}.unfed"
    draft.add_state(off)
    return when(**{off: False})


def _write_run(draft: Draft, line: Line, ends: tuple[str, str], run: tuple[Row, Any], on: list[Row]) -> None:
    """Write one conductor of a run, of the copper and the gauge that the site file states."""
    loop, length = run
    gauge, pair = str(loop["cable"]["gauge"]), line.list_values("cable_pair")
    area_mm2 = AWG_MM2.get(gauge) or float(gauge.removesuffix("mm²").strip())
    ohm = COPPER_OHM_M * read_si(length, "m") / (area_mm2 * 1e-6)
    warmth = 0.00393 * float(str(pair["temperature_spread_c"]))
    shares = draft.spread("cable_length", "resistance", float(str(pair["length_spread"]).removesuffix("%")) / 100)
    shares += draft.spread("temperature", "resistance", warmth)
    draft.add_ohms("conductor", f"wire.{ends[1]}", ends, ohm, on, shares)


def _write_two_wire(draft: Draft, name: str, row: Row, line: Line) -> None:
    """Write a two-wire head: plus through its contact, minus through its strip, electronics across what comes in."""
    values = line.list_values(row["profile"], row["values"])
    if values["path"] != "contact" or values["reversed"] != "blocks":
        raise NotPlayedError("the referee's own two-wire heads have a plain contact and block")
    _add_head_states(draft, name, values)
    on = when(**{f"{name}__head_off": False})
    draft.add_ohms(
        "contact", f"path.{name}", (f"{name}.in+", f"{name}.out+"), read_si(values["contact_ohm"], "ohm"), on
    )
    draft.add_ohms("joint", f"strip.{name}-", (f"{name}.in-", f"{name}.out-"), draft.ohms("joint_ohm"))
    alive = [*on, *when(**{f"{name}__dead": False})]
    ends, clamp_ohm = (f"{name}.in+", f"{name}.in-"), read_si(values["clamp_ohm"], "ohm")
    knee_v, low_ohm = read_si(values["knee_v"], "V"), str(values["low_volts_ohm"])
    below = [[knee_v, 0.0]] if low_ohm == "none" else [[0.0, 0.0], [knee_v, knee_v / read_si(low_ohm, "ohm")]]
    quiet = [*below, [read_si(values["minimum_v"], "V"), read_si(values["standby_a"], "A")]]
    current = draft.spread("detector_current", "current", draft.spreads[f"{row['profile']}.standby_a"])
    asleep, latched = (when(**{f"{name}__latched": word}) for word in (False, True))
    draft.add_curve("load", f"load.{name}", ends, {"points": quiet, "after_s": 0.0}, [*alive, *asleep], current)
    clamp = draft.spread("clamp", "current", draft.spreads[f"{row['profile']}.clamp_ohm"])
    shape = {"points": [[read_si(values["clamp_v"], "V"), 0.0]], "after_s": 1 / clamp_ohm}
    draft.add_curve("load", f"clamp.{name}", ends, shape, [*alive, *latched], clamp)


def _add_head_states(draft: Draft, name: str, values: Row) -> None:
    for word in ("dead", "head_off", "smoke"):
        draft.add_state(f"{name}.{word}")
    draft.add_state(
        f"{name}.latched",
        plus=f"{name}.in+",
        minus=f"{name}.in-",
        set_from=read_si(values["minimum_v"], "V"),
        cleared_below=read_si(values["release_v"], "V"),
        set_needs=f"{name}.smoke",
        either_way=False,
    )


def _write_four_wire(draft: Draft, name: str, row: Row, line: Line) -> None:
    """Write a four-wire head: power pair through it, contact pair past it, an alarm contact across the contact pair."""
    values = line.list_values(row["profile"], row["values"])
    if values["path"] != "contact" or values["reversed"] != "blocks":
        raise NotPlayedError("the referee's own four-wire heads have a plain contact and block")
    _add_head_states(draft, name, values)
    on, joint_ohm = when(**{f"{name}__head_off": False}), draft.ohms("joint_ohm")
    draft.add_ohms(
        "contact", f"path.{name}", (f"{name}.in+", f"{name}.out+"), read_si(values["contact_ohm"], "ohm"), on
    )
    for wire in ("-", "_a", "_b"):
        draft.add_ohms("joint", f"strip.{name}{wire}", (f"{name}.in{wire}", f"{name}.out{wire}"), joint_ohm)
    alive, ends = [*on, *when(**{f"{name}__dead": False})], (f"{name}.in+", f"{name}.in-")
    knee_v, least_v = (read_si(values[word], "V") for word in ("knee_v", "minimum_v"))
    for kind, amount, latched in (("load", "standby_a", False), ("alarm_load", "alarm_a", True)):
        shape = {"points": [[knee_v, 0.0], [least_v, read_si(values[amount], "A")]], "after_s": 0.0}
        share = draft.spread("detector_current", "current", draft.spreads[f"{row['profile']}.{amount}"])
        draft.add_curve("load", f"{kind}.{name}", ends, shape, [*alive, *when(**{f"{name}__latched": latched})], share)
    closed = [*on, *when(**{f"{name}__latched": True})]
    ohm = read_si(values["alarm_contact_ohm"], "ohm") + read_si(values["alarm_series_ohm"], "ohm")
    draft.add_ohms("contact", f"alarm.{name}", (f"{name}.in_a", f"{name}.in_b"), ohm, closed)


def _write_contact(draft: Draft, name: str, row: Row, line: Line) -> None:
    """Write a dry contact: both wires go past it, and it bridges them while it is hot."""
    values = line.list_values(row["profile"], row["values"])
    for word in ("dead", "head_off", "smoke"):
        draft.add_state(f"{name}.{word}")
    across: dict[str, Any] = {"plus": f"{name}.in_a", "minus": f"{name}.in_b", "set_from": 0.0, "cleared_below": 0.0}
    draft.add_state(f"{name}.latched", **across, set_needs=f"{name}.smoke", while_needed=True, either_way=True)
    for wire in ("_a", "_b"):
        draft.add_ohms(
            "joint", f"strip.{name}{wire}", (f"{name}.in{wire}", f"{name}.out{wire}"), draft.ohms("joint_ohm")
        )
    ohm = read_si(values["contact_ohm"], "ohm") + read_si(values["series_ohm"], "ohm")
    closed = when(**{f"{name}__dead": False, f"{name}__latched": True})
    draft.add_ohms("contact", f"alarm.{name}", (f"{name}.in_a", f"{name}.in_b"), ohm, closed)


def _write_way_back(draft: Draft, line: Line, loop: Row, last: str) -> None:
    """Write the way back of a class A zone: run, return screws, and the link that joins both ends after an open."""
    zone = loop["zone"]
    draft.add_state(f"{zone}.linked")
    draft.add_state(f"{zone}.return_lifted")
    for sign in "+-":
        ends = (f"{last}.out{sign}", f"{zone}r.in{sign}")
        _write_run(draft, line, ends, (loop, loop["back_run"]), _find_off(draft, ends[0], ""))
        back, lifted = (
            (f"panel.{zone}r{sign}", f"{zone}r.in{sign}"),
            when(**{f"{zone}__{word}": False for word in ("lifted", "return_lifted")}),
        )
        draft.add_ohms("joint", f"landing.{zone}r{sign}", back, draft.ohms("joint_ohm"), lifted)
        ends, linked = (f"panel.{zone}{sign}", f"panel.{zone}r{sign}"), when(**{f"{zone}__linked": True})
        draft.add_ohms("contact", f"link.{zone}{sign}", ends, draft.ohms("contact_ohm"), linked)


def _write_end(draft: Draft, line: Line, end: tuple[Row, float], chain: Chain) -> None:
    """Write the end resistor: at the panel for class A, at the last detector else, there behind a supervision relay."""
    loop, ohm = end
    kind = loop["style"]
    last, zone, number = chain.detectors[-1], chain.zone, chain.number
    share = draft.spread("end_resistor", "resistance", float(str(line.list_values("resistor")["spread"])[:-1]) / 100)
    ends = {
        "class_a_zone": (f"panel.{zone}r+", f"panel.{zone}r-"),
        "dry_contacts": (f"{last}.out_a", f"{last}.out_b"),
        "four_wire_zone": (f"endrelay{number}.no", f"{last}.out_b"),
    }[kind]
    draft.add_ohms("resistor", f"end{number}.resistor", ends, ohm, [], share)
    if kind == "four_wire_zone":
        values = line.list_values(str(loop["end_relay"]["profile"]))
        _write_end_relay(draft, values, last, f"endrelay{number}")


def _write_end_relay(draft: Draft, values: Row, last: str, relay: str) -> None:
    """Write the supervision relay: coil with its diode at the end of the power pair, contact before the resistor."""
    joint_ohm = draft.ohms("joint_ohm")
    thresholds: dict[str, Any] = {"plus": f"{relay}.coil+", "minus": f"{relay}.coil-", "set_needs": None}
    thresholds |= {"set_from": read_si(values["pull_in_v"], "V"), "cleared_below": read_si(values["drop_out_v"], "V")}
    draft.add_state(f"{relay}.operated", **thresholds)
    for sign in "+-":
        draft.add_ohms("joint", f"{relay}.joint{sign}", (f"{last}.out{sign}", f"{relay}.coil{sign}"), joint_ohm)
    draft.add_ohms("joint", f"{relay}.joint.com", (f"{last}.out_a", f"{relay}.com"), joint_ohm)
    on, contact_ohm = when(**{f"{relay}__operated": True}), read_si(values["contact_ohm"], "ohm")
    draft.add_ohms("contact", f"{relay}.contact", (f"{relay}.com", f"{relay}.no"), contact_ohm, on)
    coil = {"points": [[0.6, 0.0]], "after_s": 1 / read_si(values["coil_ohm"], "ohm")}
    draft.add_curve("load", f"{relay}.coil", (f"{relay}.coil+", f"{relay}.coil-"), coil)
