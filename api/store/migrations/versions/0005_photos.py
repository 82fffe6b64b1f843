"""Photos of what was found."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the schema up."""
    op.add_column("case_findings", sa.Column("photos", sa.JSON(), nullable=True))
    op.create_table(
        "case_photos",
        sa.Column(
            "case_order", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_order"], ["cases.order"], name=op.f("fk_case_photos_case_order")
        ),
        sa.PrimaryKeyConstraint("case_order", "name", name=op.f("pk_case_photos")),
    )
