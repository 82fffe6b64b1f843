"""The first tables."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
MOMENT = sa.DateTime(timezone=True)
BY = sa.String(165)


def upgrade() -> None:
    """Bring the schema up."""
    op.create_table(
        "api_keys",
        sa.Column("id", sa.String(16), primary_key=True),
        _filled("name", sa.String(80)),
        _filled("role", sa.String(10)),
        _filled("digest", sa.String(64)),
        _filled("made_at", MOMENT),
        sa.Column("revoked_at", MOMENT),
    )
    op.create_table(
        "cases",
        _counted("order"),
        sa.Column("number", sa.String(12), unique=True, nullable=False),
        _filled("version", sa.Integer()),
        _filled("state", sa.String(10)),
        _filled("opened_at", MOMENT),
        _filled("changed_at", MOMENT),
        _filled("opened_by", BY),
        _filled("fleet_number", sa.String(40)),
        _filled("machine_type", sa.String(80)),
        _filled("reference", sa.String(80)),
        _filled("complaint", sa.Text()),
        _filled("handed_to", sa.String(80)),
        _filled("machine", sa.JSON()),
        _filled("settings", sa.JSON()),
        _filled("circuit", sa.String(80)),
        sa.Column("outcome", sa.JSON()),
        _filled("confirmed", sa.String(80)),
        sa.Column("leading", sa.JSON()),
        _filled("search", sa.Text()),
    )
    op.create_index("ix_cases_fleet_number", "cases", ["fleet_number"])
    op.create_index("ix_cases_state_order", "cases", ["state", "order"])
    op.create_table(
        "endpoints",
        sa.Column("id", sa.String(40), primary_key=True),
        _filled("url", sa.Text()),
        _filled("events", sa.JSON()),
        _filled("secret", sa.Text()),
        _filled("made_at", MOMENT),
        sa.Column("disabled_at", MOMENT),
    )
    op.create_table(
        "installation",
        sa.Column("name", sa.String(40), primary_key=True),
        _filled("value", sa.Text()),
    )
    op.create_table(
        "kept_answers",
        sa.Column("caller", sa.String(80), primary_key=True),
        sa.Column("key", sa.String(255), primary_key=True),
        _filled("fingerprint", sa.String(64)),
        _filled("status", sa.Integer()),
        _filled("headers", sa.JSON()),
        _filled("body", sa.Text()),
        sa.Column("at", MOMENT, nullable=False, index=True),
    )
    op.create_table(
        "case_findings",
        _counted("id"),
        _filled("case_order", BIG, sa.ForeignKey("cases.order")),
        _filled("place", sa.Integer()),
        _filled("body", sa.JSON()),
        _filled("by", BY),
        _filled("at", MOMENT),
        sa.Column("withdrawn_by", BY),
        sa.Column("withdrawn_at", MOMENT),
        sa.Column("withdrawn_because", sa.Text()),
        sa.UniqueConstraint("case_order", "place"),
    )
    op.create_table(
        "case_steps",
        _counted("id"),
        _filled("case_order", BIG, sa.ForeignKey("cases.order")),
        _filled("version", sa.Integer()),
        _filled("kind", sa.String(30)),
        _filled("by", BY),
        _filled("at", MOMENT),
        _filled("body", sa.JSON()),
        sa.Column("diagnosis", sa.JSON()),
        sa.UniqueConstraint("case_order", "version"),
    )
    op.create_table(
        "deliveries",
        _counted("id"),
        _filled("message", sa.String(40)),
        _filled("endpoint_id", sa.String(40), sa.ForeignKey("endpoints.id")),
        _filled("kind", sa.String(30)),
        _filled("payload", sa.Text()),
        _filled("state", sa.String(10)),
        _filled("attempts", sa.Integer()),
        _filled("made_at", MOMENT),
        _filled("next_at", MOMENT),
        _filled("last_result", sa.Text()),
    )
    op.create_index("ix_deliveries_due", "deliveries", ["state", "next_at"])


def _counted(name: str) -> sa.Column[int]:
    return sa.Column(name, BIG, sa.Identity(always=True), primary_key=True)


def _filled(name: str, kind: Any, *more: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, *more, nullable=False)
