"""The review in the browser: pages on the record, and the small server that shows them."""
