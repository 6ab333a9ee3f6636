"""What people and programs read: words, explanations, JSON objects, pictures."""

from .card import Card, build_card
from .card_page import build_card_object, render_card, render_card_text
from .circuit_object import build_circuit_object
from .design import (
    DesignLine,
    DesignTable,
    build_design_findings,
    build_design_object,
    build_design_table,
    render_design_text,
)
from .explain import explain_next, explain_shorter, list_expected, list_parts, list_suspects, tell_certainty
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
from .picture import describe_picture, find_shares, render_loop, render_style
from .proofs import build_proofs
from .record import render_impairment, render_record, tell_misreading
from .testability import (
    Section,
    TestabilityTable,
    TestList,
    build_testability_object,
    build_testability_table,
    render_testability_text,
    tell_long_check,
)
from .words import (
    Listener,
    Region,
    Words,
    format_percent,
    format_wait,
    list_after_repair,
    read_words,
    say,
    tell_caution,
    tell_closing,
)

__all__ = [
    "Card",
    "DesignLine",
    "DesignTable",
    "Listener",
    "Region",
    "Section",
    "TestList",
    "TestabilityTable",
    "Words",
    "build_card",
    "build_card_object",
    "build_circuit_object",
    "build_design_findings",
    "build_design_object",
    "build_design_table",
    "build_diagnosis",
    "build_guide",
    "build_list",
    "build_prediction",
    "build_proofs",
    "build_testability_object",
    "build_testability_table",
    "build_where",
    "describe_picture",
    "explain_next",
    "explain_shorter",
    "find_shares",
    "format_percent",
    "format_wait",
    "list_after_repair",
    "list_expected",
    "list_parts",
    "list_repair_cautions",
    "list_suspects",
    "read_words",
    "render_card",
    "render_card_text",
    "render_design_text",
    "render_impairment",
    "render_loop",
    "render_record",
    "render_style",
    "render_testability_text",
    "round_number",
    "say",
    "tell_caution",
    "tell_certainty",
    "tell_closing",
    "tell_guide",
    "tell_long_check",
    "tell_misreading",
    "write_faults",
]  # fmt: skip
