"""What can be measured, and what it would show: circuit and faults in, values with spread out."""

from .data import MeasurementKind, Meter, Table, Tool, Travel, read_table
from .forecast import Bench, Faults, Forecast, find_leads
from .measurement import (
    AS_IT_SHOULD_BE,
    LAMPS,
    LISTED,
    SETTING_WRONG,
    STATES,
    TESTS,
    Measurement,
    find_lifted_mode,
    find_place,
    find_travel,
    is_offered,
    list_cautions,
    list_kind_words,
    list_measurements,
    list_tokens,
    parse_measurement,
)
from .meter import find_limit, find_sd, find_step, show_value
from .predict import PredictedReading, Prediction, list_mode_measurements, predict_mode, settle_mode
from .states import find_look_place, write_dark_set
from .value import parse_value

__all__ = [
    "AS_IT_SHOULD_BE",
    "LAMPS",
    "LISTED",
    "SETTING_WRONG",
    "STATES",
    "TESTS",
    "Bench",
    "Faults",
    "Forecast",
    "Measurement",
    "MeasurementKind",
    "Meter",
    "PredictedReading",
    "Prediction",
    "Table",
    "Tool",
    "Travel",
    "find_leads",
    "find_lifted_mode",
    "find_limit",
    "find_look_place",
    "find_place",
    "find_sd",
    "find_step",
    "find_travel",
    "is_offered",
    "list_cautions",
    "list_kind_words",
    "list_measurements",
    "list_mode_measurements",
    "list_tokens",
    "parse_measurement",
    "parse_value",
    "predict_mode",
    "read_table",
    "settle_mode",
    "show_value",
    "write_dark_set",
]  # fmt: skip
