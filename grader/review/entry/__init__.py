"""The script that Streamlit runs; alone in its folder, which Streamlit puts on the path."""
