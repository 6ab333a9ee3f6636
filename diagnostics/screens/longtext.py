"""A longer text that survives a reload: packed into the address, since addresses are cut off at some thousand signs."""

import base64
import binascii
import zlib

import streamlit as st

from .draft import find_kept, keep

LONGEST = 2000
_HEIGHT_PX = 130
_MOST_BYTES = 4 * LONGEST  # of UTF-8: what comes from an address must not grow without end

# A field of several lines is sent when it is left, or by Ctrl and Enter; a phone that is put away leaves nothing. So
# this presses these keys whenever a person has paused. The script is our own constant.
_SEND = """<script>
if (!window.sendsPausedText) {
  window.sendsPausedText = true;
  let timer = 0;
  document.addEventListener('input', (event) => {
    if (event.target.tagName !== 'TEXTAREA') return;
    clearTimeout(timer);
    const field = event.target;
    timer = setTimeout(() => field.dispatchEvent(
      new KeyboardEvent('keydown', {key: 'Enter', code: 'Enter', ctrlKey: true, bubbles: true})), 700);
  });
}
</script>"""


def ask_note(label: str, key: str) -> str:
    """Ask for a text of several lines that is there again after a reload."""
    if key not in st.session_state:
        st.session_state[key] = unpack(find_kept(key))
    st.html(_SEND, unsafe_allow_javascript=True)
    text = st.text_area(label, key=key, max_chars=LONGEST, height=_HEIGHT_PX) or ""
    keep(key, pack(text))
    return text.strip()


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
