"""What makes the database itself refuse to change the ledger: triggers, in the words of each database.

Statements only; ``pipelines.depot.books.tables`` and the first migration run them with the table.
"""

from __future__ import annotations

_REFUSED = "the ledger is append-only"

#: Names of the triggers on each database.
NAMES = {
    "sqlite": ("ledger_no_change", "ledger_no_removal", "ledger_only_at_the_end"),
    "postgresql": ("ledger_guard", "ledger_guard_truncate"),
}

BY_DIALECT = {
    "sqlite": (
        f"CREATE TRIGGER ledger_no_change BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END",
        f"CREATE TRIGGER ledger_no_removal BEFORE DELETE ON ledger BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END",
        # an INSERT OR REPLACE removes a line without asking the trigger above
        "CREATE TRIGGER ledger_only_at_the_end BEFORE INSERT ON ledger "
        "WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM ledger) "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END",
    ),
    "postgresql": (
        "CREATE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF TG_OP = 'INSERT' AND NEW.sequence = (SELECT coalesce(max(sequence), 0) + 1 FROM ledger) "
        f"THEN RETURN NEW; END IF; RAISE EXCEPTION '{_REFUSED}'; END $$",
        "CREATE TRIGGER ledger_guard BEFORE INSERT OR UPDATE OR DELETE ON ledger "
        "FOR EACH ROW EXECUTE FUNCTION ledger_refuse()",
        "CREATE TRIGGER ledger_guard_truncate BEFORE TRUNCATE ON ledger EXECUTE FUNCTION ledger_refuse()",
    ),
}
