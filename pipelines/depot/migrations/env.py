"""What Alembic runs round the migrations: on the connection it is handed, in the transaction that is open there."""

from __future__ import annotations

from alembic import context

from pipelines.depot.books import withdrawal_tables
from pipelines.depot.books.tables import META

assert withdrawal_tables.WITHDRAWALS.metadata is META  # imported, so that its tables are known
context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=META,
    transactional_ddl=True,
    transaction_per_migration=False,
)
context.run_migrations()
