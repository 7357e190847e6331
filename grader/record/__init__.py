"""The studio record: what lasts beyond one batch."""
