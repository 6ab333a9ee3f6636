"""Read data files so that every complaint names its line and column.

Two steps: ``read_file`` or ``read_document`` turns YAML into plain text, lists and mappings with their places;
``parse_model`` turns those into a pydantic model. Both raise SourceError with all that they found.
"""

from diagnostics.source.document import Document, Tree, TreePath, find_value
from diagnostics.source.reader import read_document, read_file
from diagnostics.source.schema import parse_model
from diagnostics.units.fields import Amps, Celsius, Metres, Ohms, Percent, Seconds, Volts, Watts, Wire

__all__ = [
    "Amps",
    "Celsius",
    "Document",
    "Metres",
    "Ohms",
    "Percent",
    "Seconds",
    "Tree",
    "TreePath",
    "Volts",
    "Watts",
    "Wire",
    "find_value",
    "parse_model",
    "read_document",
    "read_file",
]
