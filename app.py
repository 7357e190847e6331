"""The door to the pages: ``streamlit run app.py [-- DIR]``, DIR being a studio folder."""

import sys

import streamlit as st

from grader.review.serve import app_parts

app = st.App(**app_parts(sys.argv[1:]))
