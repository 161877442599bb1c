"""The dashboard: page config and navigation, nothing else. Run with `streamlit run app.py`."""

import streamlit as st

from estimator.pages import menu, warned

st.set_page_config(
    page_title="What will this car need?",
    page_icon="🔧",
    layout="wide",
    initial_sidebar_state="collapsed",
)
page = st.navigation(menu.pages(), position="hidden")
menu.show_row(page)
warned.show()
page.run()
