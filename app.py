"""The app: ``streamlit run app.py``, or ``ohmward``, which starts it on this machine only."""

import streamlit as st

from diagnostics.screens.flow import show_app

st.set_page_config(page_title="Ohmward", page_icon="🔎", layout="wide", initial_sidebar_state="collapsed")
show_app()
