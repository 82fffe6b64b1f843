"""The tables. Times are UTC, to the microsecond; data that only the engine reads is JSON.

No step erases what a person told: a finding is withdrawn, a case reopened, and every step stands in
``case_steps`` under the version that it made. Only api.cases.erasure takes words out.
"""

from datetime import UTC, datetime
from typing import Any, ClassVar, cast

import sqlalchemy as sa
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

# SQLite counts up only an INTEGER PRIMARY KEY; PostgreSQL gets 64 bits.
BY = 165  # a person's name, " via ", and the name of a key
_BIG = sa.BigInteger().with_variant(sa.Integer, "sqlite")


class UtcTime(sa.TypeDecorator[datetime]):
    """A moment in UTC. SQLite keeps no zone, so it is put back on the way out."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        """Refuse a time without a zone: nobody could say what it means."""
        if value is not None and value.tzinfo is None:
            raise ValueError("a time needs its zone")
        return value.astimezone(UTC) if value is not None else None

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        """Return the moment with its zone."""
        if value is None:
            return None
        return value.astimezone(UTC) if value.tzinfo else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    """All tables; constraints have names, so that migrations can speak of them."""

    metadata = sa.MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map: ClassVar = {
        str: sa.Text(), datetime: UtcTime(), dict[str, Any]: sa.JSON(), list[Any]: sa.JSON()
    }  # fmt: skip


def table_of(model: type[Base]) -> sa.Table:
    """Return the table of a model, for who reads and writes without objects."""
    return cast(sa.Table, model.__table__)


class CaseRow(Base):
    """One machine and its complaint, from the first call to the confirmed cause."""

    __tablename__ = "cases"
    __table_args__ = (
        sa.Index("ix_cases_state_order", "state", "order"),
        sa.Index("ix_cases_fleet_number", "fleet_number"),
        sa.Index("ix_cases_reference", "reference"),
        sa.Index("ix_cases_call_back", "state", "call_back_at"),
    )

    # Counts up with each case opened: the order of lists, whatever the clock does.
    order: Mapped[int] = mapped_column(_BIG, sa.Identity(always=True), primary_key=True)
    number: Mapped[str] = mapped_column(sa.String(12), unique=True)  # digits, the last one a check
    version: Mapped[int]  # counts up with each step
    state: Mapped[str] = mapped_column(sa.String(10))  # open, closed
    opened_at: Mapped[datetime]
    changed_at: Mapped[datetime]
    opened_by: Mapped[str] = mapped_column(sa.String(BY))
    fleet_number: Mapped[str] = mapped_column(sa.String(40), default="")
    machine_type: Mapped[str] = mapped_column(sa.String(80), default="")
    reference: Mapped[str] = mapped_column(sa.String(80), default="")  # the shop's work order
    complaint: Mapped[str] = mapped_column(default="")
    handed_to: Mapped[str] = mapped_column(sa.String(80), default="")
    caller_name: Mapped[str] = mapped_column(sa.String(80), default="")
    caller_phone: Mapped[str] = mapped_column(sa.String(40), default="")
    caller_place: Mapped[str] = mapped_column(sa.String(120), default="")
    call_back_at: Mapped[str] = mapped_column(sa.String(40), default="")  # UTC, to the second
    machine: Mapped[dict[str, Any]]  # as the engine's request has it
    settings: Mapped[dict[str, Any]]  # on_hand, excluded, limit, as the engine's request has them
    circuit: Mapped[str] = mapped_column(sa.String(80), default="")  # id, once the control is known
    outcome: Mapped[dict[str, Any] | None]  # cause, replaced, minutes, note, when closed
    confirmed: Mapped[str] = mapped_column(sa.String(80), default="")  # the outcome's cause
    # what learning goes by, while it is closed: who closed it (a key's name), on which day (UTC),
    # whether its findings bear the cause out, and an administrator's word: yes, no or nothing
    closed_key: Mapped[str] = mapped_column(sa.String(BY), default="")
    closed_on: Mapped[str] = mapped_column(sa.String(10), default="")
    borne_out: Mapped[bool] = mapped_column(default=False)
    learn: Mapped[str] = mapped_column(sa.String(10), default="")
    # of one that was imported: the SHA-256 of its mark, hexadecimal
    imported_as: Mapped[str | None] = mapped_column(sa.String(64), unique=True, index=True)
    leading: Mapped[dict[str, Any] | None]  # leading causes and next check at this version
    search: Mapped[str] = mapped_column(default="")  # what text is looked for in, lower case

    findings: Mapped[list["FindingRow"]] = relationship(
        order_by="FindingRow.place", lazy="selectin"
    )
    steps: Mapped[list["StepRow"]] = relationship(order_by="StepRow.version")


class FindingRow(Base):
    """One finding as it came in; withdrawn, it stays and counts for nothing."""

    __tablename__ = "case_findings"
    __table_args__ = (sa.UniqueConstraint("case_order", "place"),)

    id: Mapped[int] = mapped_column(_BIG, sa.Identity(always=True), primary_key=True)
    case_order: Mapped[int] = mapped_column(sa.ForeignKey("cases.order"))
    place: Mapped[int]  # 1, 2, 3 in the order in which they came in
    body: Mapped[dict[str, Any]]  # as the engine's request has it, side and note included
    by: Mapped[str] = mapped_column(sa.String(BY))
    at: Mapped[datetime]
    withdrawn_by: Mapped[str | None] = mapped_column(sa.String(BY))
    withdrawn_at: Mapped[datetime | None]
    withdrawn_because: Mapped[str | None]
    photos: Mapped[list[Any] | None]  # their addresses; None for none


class StepRow(Base):
    """What one version of a case changed, and what the engine said at that point."""

    __tablename__ = "case_steps"
    __table_args__ = (sa.UniqueConstraint("case_order", "version"),)

    id: Mapped[int] = mapped_column(_BIG, sa.Identity(always=True), primary_key=True)
    case_order: Mapped[int] = mapped_column(sa.ForeignKey("cases.order"))
    version: Mapped[int]
    kind: Mapped[str] = mapped_column(sa.String(30))  # opened, finding-added, closed, ...
    by: Mapped[str] = mapped_column(sa.String(BY))
    at: Mapped[datetime]
    body: Mapped[dict[str, Any]]
    diagnosis: Mapped[dict[str, Any] | None]  # leading causes, next check, knowledge_version


class DiagnosisRow(Base):
    """The engine's whole answer on a case at one version; the last two versions are kept."""

    __tablename__ = "case_diagnoses"

    case_order: Mapped[int] = mapped_column(sa.ForeignKey("cases.order"), primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True)
    made_with: Mapped[str] = mapped_column(sa.String(160))  # program, knowledge and learned shares
    body: Mapped[bytes]  # JSON, compressed with zlib


class CasePhoto(Base):
    """A photo of what was found, small and bare of where it was taken."""

    __tablename__ = "case_photos"

    case_order: Mapped[int] = mapped_column(sa.ForeignKey("cases.order"), primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(32), primary_key=True)  # a digest of its bytes
    body: Mapped[bytes]  # JPEG


class ApiKey(Base):
    """A caller's key: the part that names it is kept, of the secret only the hash."""

    __tablename__ = "api_keys"

    id: Mapped[str] = mapped_column(sa.String(16), primary_key=True)  # the part that names it
    name: Mapped[str] = mapped_column(sa.String(80))
    role: Mapped[str] = mapped_column(sa.String(10))  # read, agent, admin
    digest: Mapped[str] = mapped_column(sa.String(64))  # SHA-256 of the secret, hexadecimal
    made_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


class Installation(Base):
    """What all servers of one installation share, made once: the secret of session cookies."""

    __tablename__ = "installation"

    name: Mapped[str] = mapped_column(sa.String(40), primary_key=True)
    value: Mapped[str]


class KeptAnswer(Base):
    """An Idempotency-Key, or the mark of a desk's form, and the reply to what came with it.

    Claimed first, with status 0; the reply is written in the transaction of the step.
    """

    __tablename__ = "kept_answers"

    caller: Mapped[str] = mapped_column(sa.String(80), primary_key=True)
    key: Mapped[str] = mapped_column(sa.String(255), primary_key=True)
    fingerprint: Mapped[str] = mapped_column(sa.String(64))  # SHA-256 of method, path and body
    status: Mapped[int]
    headers: Mapped[dict[str, Any]]
    body: Mapped[str]
    at: Mapped[datetime] = mapped_column(index=True)


class Endpoint(Base):
    """An address that events are sent to."""

    __tablename__ = "endpoints"

    id: Mapped[str] = mapped_column(sa.String(40), primary_key=True)
    url: Mapped[str]
    events: Mapped[list[Any]]  # kinds of event
    secret: Mapped[str]  # needed in clear: every message is signed with it
    made_at: Mapped[datetime]
    disabled_at: Mapped[datetime | None]
    old_secret: Mapped[str] = mapped_column(default="")  # signs too, until then
    old_until: Mapped[datetime | None]


class Delivery(Base):
    """One event on its way to one address: the durable queue."""

    __tablename__ = "deliveries"
    __table_args__ = (sa.Index("ix_deliveries_due", "state", "next_at"),)

    id: Mapped[int] = mapped_column(_BIG, sa.Identity(always=True), primary_key=True)
    message: Mapped[str] = mapped_column(sa.String(40))  # the same over every attempt
    endpoint_id: Mapped[str] = mapped_column(sa.ForeignKey("endpoints.id"))
    kind: Mapped[str] = mapped_column(sa.String(30))
    payload: Mapped[str]  # the bytes that are signed
    state: Mapped[str] = mapped_column(sa.String(10))  # waiting, delivered, given-up
    attempts: Mapped[int] = mapped_column(default=0)
    made_at: Mapped[datetime]
    next_at: Mapped[datetime]  # not before; a sender that takes it moves this on
    last_result: Mapped[str] = mapped_column(default="")
