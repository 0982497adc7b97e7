"""The first form of the books.

What is written here stays as it is: a later form is a module of its own. The guards of the ledger are statements of the
database's own language, as they were when this form was made.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from pipelines.depot.books import guards

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "arrivals",
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("signature", sa.Text(), nullable=False),
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site", "name", name=op.f("pk_arrivals")),
    )
    op.create_table(
        "built",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("made_from", sa.Text(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("what", name=op.f("pk_built")),
    )
    op.create_table(
        "decisions",
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("check_name", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("back_why", sa.Text(), nullable=True),
        sa.Column("back_by", sa.Text(), nullable=True),
        sa.Column("back_utc", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("word", name=op.f("pk_decisions")),
    )
    op.create_index(op.f("ix_decisions_trial_id"), "decisions", ["trial_id"], unique=False)
    op.create_table(
        "deliveries",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("arrival", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=True),
        sa.Column("number", sa.BigInteger(), nullable=True),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("received_utc", sa.Text(), nullable=False),
        sa.Column("code_version", sa.Text(), nullable=False),
        sa.Column("study_version", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("held", sa.Boolean(), nullable=False),
        sa.Column("overrides", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("delivery_id", name=op.f("pk_deliveries")),
        sa.UniqueConstraint("result", name=op.f("uq_deliveries_result")),
    )
    op.create_index(op.f("ix_deliveries_arrival"), "deliveries", ["arrival"], unique=False)
    op.create_index(
        op.f("ix_deliveries_code_version_study_version"), "deliveries", ["code_version", "study_version"], unique=False
    )
    op.create_index(op.f("ix_deliveries_fingerprint"), "deliveries", ["fingerprint"], unique=False)
    op.create_index(op.f("ix_deliveries_overrides"), "deliveries", ["overrides"], unique=False)
    op.create_index(op.f("ix_deliveries_site_number"), "deliveries", ["site", "number"], unique=False)
    op.create_table(
        "depot",
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("made_utc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("word", name=op.f("pk_depot")),
    )
    op.create_table(
        "ledger",
        sa.Column(
            "sequence", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False
        ),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.Column("previous", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_ledger")),
    )
    op.create_index(op.f("ix_ledger_about"), "ledger", ["about"], unique=False)
    op.create_index(op.f("ix_ledger_actor"), "ledger", ["actor"], unique=False)
    op.create_index(op.f("ix_ledger_utc"), "ledger", ["utc"], unique=False)
    op.create_table(
        "releases",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("code_version", sa.Text(), nullable=False),
        sa.Column("study_version", sa.Text(), nullable=False),
        sa.Column("trial_count", sa.Integer(), nullable=False),
        sa.Column("content_sha256", sa.Text(), nullable=False),
        sa.Column("superseded_utc", sa.Text(), nullable=False),
        sa.Column("superseded_why", sa.Text(), nullable=False),
        sa.Column("ledger_sequence", sa.BigInteger(), nullable=False),
        sa.Column("ledger_hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_releases")),
    )
    op.create_table(
        "runners_known",
        sa.Column("participant_id", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("participant_id", name=op.f("pk_runners_known")),
    )
    op.create_table(
        "stamp_contents",
        sa.Column("used", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("used", name=op.f("pk_stamp_contents")),
    )
    op.create_table(
        "withdrawals",
        sa.Column("tombstone", sa.Text(), nullable=False),
        sa.Column("runner", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("tombstone", name=op.f("pk_withdrawals")),
        sa.UniqueConstraint("runner", "scope", name=op.f("uq_withdrawals_runner_scope")),
    )
    op.create_table(
        "consent_events",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("participant_id", sa.Text(), nullable=False),
        sa.Column("alike", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=True),
        sa.Column("event", sa.Text(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_consent_events_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "number", name=op.f("pk_consent_events")),
    )
    op.create_index(op.f("ix_consent_events_alike"), "consent_events", ["alike"], unique=False)
    op.create_table(
        "decision_files",
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["word"], ["decisions.word"], name=op.f("fk_decision_files_word"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("word", "number", name=op.f("pk_decision_files")),
    )
    op.create_table(
        "delivery_stamps",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("used", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_delivery_stamps_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "what", name=op.f("pk_delivery_stamps")),
    )
    op.create_index(op.f("ix_delivery_stamps_what_used"), "delivery_stamps", ["what", "used"], unique=False)
    op.create_table(
        "gate_files",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_gate_files_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "trial_id", "number", name=op.f("pk_gate_files")),
    )
    op.create_index(op.f("ix_gate_files_sha256"), "gate_files", ["sha256"], unique=False)
    op.create_index(op.f("ix_gate_files_word"), "gate_files", ["word"], unique=False)
    op.create_table(
        "gate_runners",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("participant_id", sa.Text(), nullable=False),
        sa.Column("alike", sa.Text(), nullable=False),
        sa.Column("knew", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_gate_runners_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "participant_id", name=op.f("pk_gate_runners")),
    )
    op.create_index(op.f("ix_gate_runners_alike"), "gate_runners", ["alike"], unique=False)
    op.create_index(
        op.f("ix_gate_runners_participant_id_knew"), "gate_runners", ["participant_id", "knew"], unique=False
    )
    op.create_table(
        "gate_tables",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_gate_tables_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "sha256", name=op.f("pk_gate_tables")),
    )
    op.create_index(op.f("ix_gate_tables_sha256"), "gate_tables", ["sha256"], unique=False)
    op.create_table(
        "gate_trials",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("participant_id", sa.Text(), nullable=True),
        sa.Column("withheld_as", sa.Text(), nullable=True),
        sa.Column("shut", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_gate_trials_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "trial_id", name=op.f("pk_gate_trials")),
    )
    op.create_index(op.f("ix_gate_trials_participant_id"), "gate_trials", ["participant_id"], unique=False)
    op.create_index(op.f("ix_gate_trials_shut"), "gate_trials", ["shut"], unique=False)
    op.create_index(op.f("ix_gate_trials_trial_id"), "gate_trials", ["trial_id"], unique=False)
    op.create_index(op.f("ix_gate_trials_withheld_as"), "gate_trials", ["withheld_as"], unique=False)
    op.create_table(
        "payload",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_payload_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "path", name=op.f("pk_payload")),
    )
    op.create_index(op.f("ix_payload_sha256_closed"), "payload", ["sha256", "closed"], unique=False)
    op.create_table(
        "trial_stamps",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("used", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_trial_stamps_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "trial_id", "what", name=op.f("pk_trial_stamps")),
    )
    op.create_index(op.f("ix_trial_stamps_what_used"), "trial_stamps", ["what", "used"], unique=False)
    op.create_table(
        "trials",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("standing", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("session_id", sa.Text(), nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("raw_sha256", sa.Text(), nullable=True),
        sa.Column("second_sha256", sa.Text(), nullable=True),
        sa.Column("gives_posture", sa.Boolean(), nullable=False),
        sa.Column("parts", sa.Text(), nullable=False),
        sa.Column("resend", sa.Text(), nullable=False),
        sa.Column("before_delivery", sa.Text(), nullable=False),
        sa.Column("before_parts", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_trials_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "trial_id", name=op.f("pk_trials")),
    )
    op.create_index(op.f("ix_trials_before_delivery"), "trials", ["before_delivery"], unique=False)
    op.create_index(op.f("ix_trials_raw_sha256"), "trials", ["raw_sha256"], unique=False)
    op.create_index(op.f("ix_trials_session_id_condition"), "trials", ["session_id", "condition"], unique=False)
    op.create_index(op.f("ix_trials_trial_id"), "trials", ["trial_id"], unique=False)
    op.create_table(
        "waiting",
        sa.Column("delivery_id", sa.Text(), nullable=False),
        sa.Column("session_id", sa.Text(), nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["deliveries.delivery_id"], name=op.f("fk_waiting_delivery_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("delivery_id", "session_id", "condition", name=op.f("pk_waiting")),
    )
    op.create_index(op.f("ix_waiting_session_id_condition"), "waiting", ["session_id", "condition"], unique=False)
    op.create_table(
        "withdrawn_files",
        sa.Column("tombstone", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["tombstone"], ["withdrawals.tombstone"], name=op.f("fk_withdrawn_files_tombstone"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("tombstone", "file", name=op.f("pk_withdrawn_files")),
    )
    op.create_index(op.f("ix_withdrawn_files_file"), "withdrawn_files", ["file"], unique=False)

    for statement in guards.BY_DIALECT[op.get_bind().dialect.name]:
        op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """There is no form before."""
    raise NotImplementedError("the first form of the books cannot be taken back")
