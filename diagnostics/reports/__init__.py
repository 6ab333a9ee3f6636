"""What people and programs read: words, explanations, JSON objects, pictures."""

from .card import Card, build_card
from .card_page import build_card_object, render_card, render_card_text
from .changes import tell_changes
from .circuit_object import build_circuit_object
from .design import (
    DesignLine,
    DesignTable,
    build_design_findings,
    build_design_object,
    build_design_table,
    render_design_text,
)
from .explain import (
    explain_next,
    explain_shorter,
    explain_unsure,
    list_expected,
    list_not_apart,
    list_parts,
    list_suspects,
    tell_certainty,
)
from .impairment import render_impairment
from .learn import (
    Zone,
    build_learn_object,
    list_learn_cautions,
    read_learn_words,
    render_learn_text,
    tell_crooked,
    tell_learnt,
    tell_panel,
    tell_zone,
)
from .location import build_spot_object, tell_location, tell_spot
from .mend import Mend, list_mends, tell_range, tell_rechecks
from .objects import (
    build_diagnosis,
    build_guide,
    build_list,
    build_prediction,
    build_where,
    list_repair_cautions,
    round_number,
    tell_guide,
    write_faults,
)
from .picture import describe_picture, list_shortened, render_loop
from .proofs import build_proofs
from .record import render_record, tell_reasons, tell_test
from .record_words import tell_misreading, tell_repair, tell_stop, tell_stops
from .shares import find_shares, put_value
from .style_picture import render_style
from .testability import (
    Section,
    TestabilityTable,
    TestList,
    build_testability_object,
    build_testability_table,
    render_testability_text,
    tell_long_check,
)
from .timeline import describe_timeline, name_causes, render_timeline
from .word_table import Region, localize, read_words
from .words import (
    Words,
    format_percent,
    format_wait,
    list_after_repair,
    say,
    tell_caution,
    tell_closing,
    tell_symptom,
)

__all__ = [
    "Card",
    "DesignLine",
    "DesignTable",
    "Mend",
    "Region",
    "Section",
    "TestList",
    "TestabilityTable",
    "Words",
    "Zone",
    "build_card",
    "build_card_object",
    "build_circuit_object",
    "build_design_findings",
    "build_design_object",
    "build_design_table",
    "build_diagnosis",
    "build_guide",
    "build_learn_object",
    "build_list",
    "build_prediction",
    "build_proofs",
    "build_spot_object",
    "build_testability_object",
    "build_testability_table",
    "build_where",
    "describe_picture",
    "describe_timeline",
    "explain_next",
    "explain_shorter",
    "explain_unsure",
    "find_shares",
    "format_percent",
    "format_wait",
    "list_after_repair",
    "list_expected",
    "list_learn_cautions",
    "list_mends",
    "list_not_apart",
    "list_parts",
    "list_repair_cautions",
    "list_shortened",
    "list_suspects",
    "localize",
    "name_causes",
    "put_value",
    "read_learn_words",
    "read_words",
    "render_card",
    "render_card_text",
    "render_design_text",
    "render_impairment",
    "render_learn_text",
    "render_loop",
    "render_record",
    "render_style",
    "render_testability_text",
    "render_timeline",
    "round_number",
    "say",
    "tell_caution",
    "tell_certainty",
    "tell_changes",
    "tell_closing",
    "tell_crooked",
    "tell_guide",
    "tell_learnt",
    "tell_location",
    "tell_long_check",
    "tell_misreading",
    "tell_panel",
    "tell_range",
    "tell_reasons",
    "tell_rechecks",
    "tell_repair",
    "tell_spot",
    "tell_stop",
    "tell_stops",
    "tell_symptom",
    "tell_test",
    "tell_zone",
    "write_faults",
]  # fmt: skip
