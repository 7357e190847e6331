"""What Streamlit runs for every visit: the pages, on the studio that was named at the start."""

from grader.record.studio import default_place
from grader.review.pages import main

main(default_place())
