"""Who calls, and when to call back."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

LETTERS = {"caller_name": 80, "caller_phone": 40, "caller_place": 120, "call_back_at": 40}


def upgrade() -> None:
    """Bring the schema up."""
    for name, most in LETTERS.items():
        column = sa.Column(name, sa.String(most), nullable=False, server_default="")
        op.add_column("cases", column)
    op.create_index("ix_cases_call_back", "cases", ["state", "call_back_at"])
