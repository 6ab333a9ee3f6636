"""An invented case and its readings."""

from datetime import UTC, datetime, timedelta

from diagnostics.cases import Case, Reading, parse_site_text

START = datetime(2026, 3, 14, 10, 42, tzinfo=UTC)
SITE_TEXT = """\
# Invented, for tests.
format: ohmward-site/1
name: Bench with five heads (invented)
zones:
  zone1: {senses: fire, end_resistor: 4.7 kΩ}
loops:
  - zone: zone1
    style: two_wire_zone
    count: 5
    end_resistor: {resistance: 4.7 kΩ}
"""


def build_invented_case() -> Case:
    """Return a case as it is when the call comes in."""
    site = parse_site_text(SITE_TEXT, "site")
    meter = {"volts": "0.5 % + 2"}
    return Case(site, SITE_TEXT, contexts=("altered",), symptom="constant_trouble", can=("meter",), meter=meter)


def build_volts(number: int, by: str = "") -> Reading:
    """Return a reading of the zone terminals; each number gives another value and a later moment."""
    moment = START + timedelta(minutes=number)
    value = f"{number % 24}.{number % 10} V"
    return Reading("volts", value, red="panel.zone1+", black="panel.zone1-", taken_at=moment, by=by)
