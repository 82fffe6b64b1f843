"""The engine's whole answer is kept with a case's version; older versions have none."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the schema up."""

    op.create_table(
        "case_diagnoses",
        sa.Column(
            "case_order", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_with", sa.String(length=160), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_order"], ["cases.order"], name=op.f("fk_case_diagnoses_case_order")
        ),
        sa.PrimaryKeyConstraint("case_order", "version", name=op.f("pk_case_diagnoses")),
    )
