"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the schema up."""

    op.create_table(
        "api_keys",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_keys")),
    )
    op.create_table(
        "cases",
        sa.Column(
            "order",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            sa.Identity(always=True),
            nullable=False,
        ),
        sa.Column("number", sa.String(length=12), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by", sa.String(length=165), nullable=False),
        sa.Column("fleet_number", sa.String(length=40), nullable=False),
        sa.Column("machine_type", sa.String(length=80), nullable=False),
        sa.Column("reference", sa.String(length=80), nullable=False),
        sa.Column("complaint", sa.Text(), nullable=False),
        sa.Column("handed_to", sa.String(length=80), nullable=False),
        sa.Column("machine", sa.JSON(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("circuit", sa.String(length=80), nullable=False),
        sa.Column("outcome", sa.JSON(), nullable=True),
        sa.Column("confirmed", sa.String(length=80), nullable=False),
        sa.Column("leading", sa.JSON(), nullable=True),
        sa.Column("search", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("order", name=op.f("pk_cases")),
        sa.UniqueConstraint("number", name=op.f("uq_cases_number")),
    )
    with op.batch_alter_table("cases", schema=None) as batch_op:
        batch_op.create_index("ix_cases_fleet_number", ["fleet_number"], unique=False)
        batch_op.create_index("ix_cases_state_order", ["state", "order"], unique=False)

    op.create_table(
        "endpoints",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("events", sa.JSON(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_endpoints")),
    )
    op.create_table(
        "installation",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_installation")),
    )
    op.create_table(
        "kept_answers",
        sa.Column("caller", sa.String(length=80), nullable=False),
        sa.Column("key", sa.String(length=255), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.JSON(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("caller", "key", name=op.f("pk_kept_answers")),
    )
    with op.batch_alter_table("kept_answers", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_kept_answers_at"), ["at"], unique=False)

    op.create_table(
        "case_findings",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            sa.Identity(always=True),
            nullable=False,
        ),
        sa.Column(
            "case_order", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("by", sa.String(length=165), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_by", sa.String(length=165), nullable=True),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_because", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["case_order"], ["cases.order"], name=op.f("fk_case_findings_case_order")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_findings")),
        sa.UniqueConstraint("case_order", "place", name=op.f("uq_case_findings_case_order_place")),
    )
    op.create_table(
        "case_steps",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            sa.Identity(always=True),
            nullable=False,
        ),
        sa.Column(
            "case_order", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("by", sa.String(length=165), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("diagnosis", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(
            ["case_order"], ["cases.order"], name=op.f("fk_case_steps_case_order")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_steps")),
        sa.UniqueConstraint("case_order", "version", name=op.f("uq_case_steps_case_order_version")),
    )
    op.create_table(
        "deliveries",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            sa.Identity(always=True),
            nullable=False,
        ),
        sa.Column("message", sa.String(length=40), nullable=False),
        sa.Column("endpoint_id", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_result", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["endpoint_id"], ["endpoints.id"], name=op.f("fk_deliveries_endpoint_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deliveries")),
    )
    with op.batch_alter_table("deliveries", schema=None) as batch_op:
        batch_op.create_index("ix_deliveries_due", ["state", "next_at"], unique=False)
