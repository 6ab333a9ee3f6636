"""Read data files so that every complaint names its line and column.

Two steps: ``read_file`` or ``read_document`` turns YAML into plain text, lists and mappings with their places;
``parse_model`` turns those into a pydantic model. Both raise SourceError with all that they found. ``lay_model``
leaves out what does not fit, for those who check further.
"""

from diagnostics.source.document import Document, Tree, TreePath, find_value
from diagnostics.source.reader import read_content, read_document, read_file
from diagnostics.source.schema import Laid, check_rules, lay_model, parse_model
from diagnostics.units.fields import Amps, Celsius, Metres, Ohms, Percent, Seconds, Volts, Watts, Wire

__all__ = [
    "Amps",
    "Celsius",
    "Document",
    "Laid",
    "Metres",
    "Ohms",
    "Percent",
    "Seconds",
    "Tree",
    "TreePath",
    "Volts",
    "Watts",
    "Wire",
    "check_rules",
    "find_value",
    "lay_model",
    "parse_model",
    "read_content",
    "read_document",
    "read_file",
]
