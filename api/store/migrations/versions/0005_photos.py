"""Photos of what was found."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Bring the schema up."""
    op.add_column("case_findings", sa.Column("photos", sa.JSON(), nullable=True))
    op.create_table(
        "case_photos",
        sa.Column("case_order", BIG, sa.ForeignKey("cases.order"), primary_key=True),
        sa.Column("name", sa.String(32), primary_key=True),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
