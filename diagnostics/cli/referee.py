"""The other end of the referee's line: the command line itself, called in this process with its words."""

import contextlib
import io
import json
import sys
from collections.abc import Sequence

from diagnostics.referee import RefusedError, Row


def ask_here(words: Sequence[str], text: str) -> Row:
    """Run one command with ``--json`` as a shell would, a text on its standard input; raises RefusedError."""
    from .main import run  # noqa: PLC0415 - the command line knows the commands, one of which this belongs to

    out, err, own_stdin = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8")
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run([*words, "--json"])
    finally:
        sys.stdin = own_stdin
    if code != 0:
        raise RefusedError(f"{' '.join(words)}: {out.getvalue()[-600:]}{err.getvalue()[-600:]}")
    answer: Row = json.loads(out.getvalue())
    return answer
