"""Where the shipped trees, cases and the app lie: inside an installed wheel, or in the checkout."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def find_shipped(name: str) -> Path:
    """Return the path of a shipped file or folder (``trees``, ``cases``, ``app.py``).

    A wheel carries copies under ``diagnostics/_shipped``; an editable install or a checkout has the
    originals beside the package, and a copy there would go stale.

    Raises
    ------
    FileNotFoundError
        Neither place has it.
    """
    for base in (_PACKAGE / "_shipped", _PACKAGE.parent):
        if (base / name).exists():
            return base / name
    raise FileNotFoundError(f"{name} is neither in the installed package nor beside it; install ohmward again")
