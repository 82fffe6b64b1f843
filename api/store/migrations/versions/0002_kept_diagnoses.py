"""The engine's whole answer is kept with a case's version; older versions have none."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Bring the schema up."""
    op.create_table(
        "case_diagnoses",
        sa.Column("case_order", BIG, sa.ForeignKey("cases.order"), primary_key=True),
        sa.Column("version", sa.Integer(), primary_key=True),
        sa.Column("made_with", sa.String(160), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
