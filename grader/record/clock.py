"""The time as the record writes it: UTC, ISO 8601, to the millisecond."""

from __future__ import annotations

from datetime import UTC, datetime


def stamp() -> str:
    """Return the present moment, for instance ``2026-11-20T09:15:02.120Z``.

    Texts of this form sort as the moments do.
    """
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local_words(stamped: str) -> str:
    """Return a stamp in local time as the maker reads it, ``2026-11-20 10:15``."""
    moment = datetime.fromisoformat(stamped.replace("Z", "+00:00"))
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")
