"""A longer text packed for the address, since addresses are cut off at some thousand signs."""

import base64
import binascii
import zlib

LONGEST = 2000
_MOST_BYTES = 4 * LONGEST  # of UTF-8: what comes from an address must not grow without end


def pack(text: str) -> str:
    """Return a text as signs that an address may hold; halves of characters are dropped."""
    if not text:
        return ""
    return base64.urlsafe_b64encode(zlib.compress(text.encode("utf-8", "ignore"), 9)).decode().rstrip("=")


def unpack(packed: str) -> str:
    """Return the text again; what is none of ours becomes an empty text."""
    try:
        whole = base64.b64decode(packed + "=" * (-len(packed) % 4), altchars=b"-_", validate=True)
        text = zlib.decompressobj().decompress(whole, _MOST_BYTES).decode("utf-8")
    except (binascii.Error, ValueError, zlib.error):
        return ""
    return text[:LONGEST]
