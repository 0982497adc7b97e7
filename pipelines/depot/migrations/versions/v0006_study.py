"""The books know whose study the depot is."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make room for it; whoever writes first fills it in."""
    op.add_column("depot", sa.Column("study", sa.Text(), nullable=True))
