"""A longer text that survives a reload, packed into the address."""

import streamlit as st

from .draft import find_kept, keep, note_drawn
from .packed import LONGEST, pack, unpack

_HEIGHT_PX = 130

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
    note_drawn(key)
    if key not in st.session_state:
        st.session_state[key] = unpack(find_kept(key))
    st.html(_SEND, unsafe_allow_javascript=True)
    text = st.text_area(label, key=key, max_chars=LONGEST, height=_HEIGHT_PX) or ""
    keep(key, pack(text))
    return text.strip()
