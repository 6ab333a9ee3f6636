"""Learn the zone of an unlisted panel from readings on its own terminals."""

import argparse
import json
import math
import sys
from dataclasses import asdict

from diagnostics.errors import QuantityError
from diagnostics.readings import LEARNT_STATES, Loaded, learn_source, read_table, write_panel
from diagnostics.reports import say
from diagnostics.units import format_quantity, parse_quantity, parse_resistor


def run_learn(options: argparse.Namespace) -> int:
    """Learn the zone of an unlisted panel: its volts and ohms with their spread, and its windows."""
    source = learn_source([_parse_loaded(text) for text in options.readings], read_table().meter)
    values = write_panel(source)
    if options.json:
        told = asdict(source) | {"is_plain": source.is_plain, "values": values}
        print(json.dumps({"format": "ohmward-learnt-panel/1", **told}, ensure_ascii=False))
        return 0 if source.is_plain else 1
    if not source.is_plain:
        print(say("learn_not_plain"), file=sys.stderr)
        return 1
    print("panel:\n  profile: panel_24v\n  values:")
    print("\n".join(f"    {name}: {text}" for name, text in values.items()))
    print(f"# {say('learn_caution')}\n# {say('learn_two' if source.fit is None else 'learn_checked')}")
    for edge in source.edges:
        low, high = (format_quantity(v, "V", 3) for v in (edge.low_v, edge.high_v))
        print(f"# {say('learn_edge', below=edge.below, above=edge.above, low=low, high=high)}")
    return 0


def _parse_loaded(text: str) -> Loaded:
    load, _, rest = text.partition("=")
    volts, _, shows = rest.partition("=")
    if not rest or (shows and shows not in LEARNT_STATES):
        states = ", ".join(LEARNT_STATES)
        hint = f"write open=27.1V or 4k7=21.9V=normal ({states})"
        raise QuantityError(f"{text[:60]!r} is no reading", text=text, hint=hint)
    ohm = math.inf if load.strip().lower() == "open" else parse_resistor(load)
    return Loaded(ohm, parse_quantity(volts, "V"), shows)
