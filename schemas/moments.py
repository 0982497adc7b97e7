"""Times as the books and tables hold them: ISO 8601, in UTC."""

from __future__ import annotations

from datetime import UTC, datetime


def moment_of(text: str) -> datetime | None:
    """An ISO time, in UTC; None if it cannot be read."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
