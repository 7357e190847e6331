"""The door to the pages: ``streamlit run app.py [-- DIR]``.

DIR is a folder that ``grader grade PHOTOS --out DIR`` has filled.
"""

import sys
from pathlib import Path

import streamlit as st

from grader.output import PAGE_NAME

st.set_page_config(page_title="Kiln load", layout="wide")
st.title("Kiln load")

folder = Path(sys.argv[1] if len(sys.argv) > 1 else "demo-out")
page = folder / PAGE_NAME
if page.is_file():
    st.iframe(page, height=900)
else:
    st.write(f"There is no graded batch in {folder} yet.")
    st.write("Put the photos of each piece into a sub-folder named after the piece, then run:")
    st.code("grader grade PHOTOS --out out\nstreamlit run app.py -- out", language=None)
    st.write("To see what comes out first:")
    st.code("grader demo\nstreamlit run app.py", language=None)
    st.write("Photos stay on this machine.")
