"""What learning goes by, where a case was imported from, and secrets of events that change."""

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

LEAST = 0.1  # as api.cases.rows has it at this revision


def upgrade() -> None:
    """Bring the schema up; of cases that are closed already, work out what learning goes by."""
    columns = [
        sa.Column("closed_key", sa.String(165), nullable=False, server_default=""),
        sa.Column("closed_on", sa.String(10), nullable=False, server_default=""),
        sa.Column("borne_out", sa.Boolean(), nullable=False, server_default=sa.false()),
        sa.Column("learn", sa.String(10), nullable=False, server_default=""),
        sa.Column("imported_as", sa.String(64), nullable=True),
    ]
    for column in columns:
        op.add_column("cases", column)  # in place: SQLite would make a table anew under its rows
    op.create_index("ix_cases_reference", "cases", ["reference"])
    op.create_index("ix_cases_imported_as", "cases", ["imported_as"], unique=True)
    old_secret = sa.Column("old_secret", sa.Text(), nullable=False, server_default="")
    op.add_column("endpoints", old_secret)
    op.add_column("endpoints", sa.Column("old_until", sa.DateTime(timezone=True), nullable=True))
    _fill()


def _fill() -> None:
    connection = op.get_bind()
    cases = sa.table(
        "cases", sa.column("order"), sa.column("outcome"), sa.column("leading"), sa.column("state"),
        sa.column("closed_key"), sa.column("closed_on"), sa.column("borne_out"),
    )  # fmt: skip
    findings = sa.table("case_findings", sa.column("case_order"), sa.column("withdrawn_at"))
    counted = set(connection.scalars(
        sa.select(findings.c.case_order).where(findings.c.withdrawn_at.is_(None)).distinct()
    ))  # fmt: skip
    closed = sa.select(cases.c.order, cases.c.outcome, cases.c.leading)
    for order, told, said in connection.execute(closed.where(cases.c.state == "closed")).all():
        outcome, leading = _read(told) or {}, _read(said) or {}
        by, cause = str(outcome.get("by", "")), outcome.get("cause")
        sides = [leading, *(leading.get("sides") or {}).values()]
        borne_out = order in counted and any(
            one["id"] == cause and one["probability"] >= LEAST
            for side in sides for one in side.get("causes") or ()
        )  # fmt: skip
        values = {
            "closed_key": by.rpartition(" via ")[2],
            "closed_on": str(outcome.get("at", ""))[:10],
            "borne_out": borne_out,
        }
        connection.execute(cases.update().where(cases.c.order == order).values(values))


def _read(kept: Any) -> Any:
    return json.loads(kept) if isinstance(kept, str) else kept
