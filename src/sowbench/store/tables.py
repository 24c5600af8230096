"""The tables of the house book; docs/book.md says what each is for and which are derived."""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)

from sowbench.store.types import UtcDateTime

# SQLite counts rows only where the key is INTEGER.
_Counter = BigInteger().with_variant(Integer, "sqlite")

metadata: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_OF_LOT = text("lot != ''")
_TICKS = text("job != ''")
_MENDS = text("corrects != ''")

# What was entered -------------------------------------------------------------------------------

entry = Table(
    "entry",
    metadata,
    Column("seq", _Counter, primary_key=True, autoincrement=True),
    Column("id", String(64), nullable=False, unique=True),
    Column("kind", String(32), nullable=False),
    Column("day_date", Date, nullable=False),
    Column("at", UtcDateTime()),
    Column("received_at", UtcDateTime(), nullable=False),
    Column("person", Text, nullable=False, default=""),
    Column("sowing", Text, nullable=False, default=""),
    Column("lot", Text, nullable=False, default=""),
    Column("job", Text, nullable=False, default=""),
    Column("corrects", String(64), nullable=False, default=""),
    # The fields of domain.journal.Entry that have no column of their own, blank ones left out.
    Column("body", Text, nullable=False, default="{}"),
    Index(None, "sowing", "seq"),
    Index(None, "day_date", "seq"),
    # What names a lot: its sowings, or none where it is about the lot alone, as a test of it.
    Index("ix_entry_lot", "lot", "sowing", "seq", sqlite_where=_OF_LOT, postgresql_where=_OF_LOT),
    # Which entries correct another, and which tick off a job: few, so only those are kept.
    Index("ix_entry_corrects", "corrects", "seq", sqlite_where=_MENDS, postgresql_where=_MENDS),
    Index("ix_entry_job", "job", sqlite_where=_TICKS, postgresql_where=_TICKS),
)

orders = Table(
    "orders",
    metadata,
    Column("name", Text, primary_key=True),
    Column("position", Integer, nullable=False),
    Column("customer", Text, nullable=False, default=""),
    Column("crop", Text, nullable=False),
    Column("variety", Text, nullable=False, default=""),
    Column("substitutes", Text, nullable=False, default=""),  # "|" between
    Column("plants", Integer, nullable=False),
    Column("unit", String(16), nullable=False),
    Column("wanted_date", Date, nullable=False),
    Column("earliest_date", Date, nullable=False),
    Column("latest_date", Date, nullable=False),
    Column("system", Text, nullable=False, default="any"),
    Column("containers", Text, nullable=False, default=""),  # "|" between
    Column("confidence_frac", Float),
    Column("min_frac", Float, nullable=False, default=1.0),
    Column("partial", Boolean, nullable=False, default=False),
    Column("organic", Boolean, nullable=False, default=False),
    Column("handover", Text, nullable=False, default="trays"),
    Column("status", String(16), nullable=False, default="promised"),
    Column("note", Text, nullable=False, default=""),
    Column("standing_of", Text, nullable=False, default=""),
    Index(None, "wanted_date", "position"),
    Index(None, "latest_date", "wanted_date"),
    Index("ix_orders_standing_of", "standing_of", "wanted_date", "position", "status"),
    Index(None, "customer"),
)

seed_lot = Table(
    "seed_lot",
    metadata,
    Column("name", Text, primary_key=True),
    Column("position", Integer, nullable=False),
    Column("crop", Text, nullable=False, index=True),
    Column("variety", Text, nullable=False, default=""),
    Column("body", Text, nullable=False),  # domain.records.SeedLot as JSON
)

standing = Table(
    "standing",
    metadata,
    Column("sowing", Text, primary_key=True),
    Column("position", Integer, nullable=False),
    Column("body", Text, nullable=False),  # domain.records.Standing as JSON
)

pin = Table(
    "pin",
    metadata,
    Column("target", Text, primary_key=True),
    Column("body", Text, nullable=False),  # domain.records.Pin as JSON
)

# Every change of an order, lot, pin, standing sowing or house: what it was and what it became.
change = Table(
    "change",
    metadata,
    Column("seq", _Counter, primary_key=True, autoincrement=True),
    Column("at", UtcDateTime(), nullable=False),
    Column("person", Text, nullable=False, default=""),
    Column("subject", String(16), nullable=False),  # order, lot, pin, standing, house, factor
    Column("name", Text, nullable=False),
    Column("before", Text),  # JSON; null for a new one
    Column("after", Text),  # JSON; null for one taken out
    Column("reason", Text, nullable=False, default=""),
    Index(None, "subject", "name", "seq"),
)

house = Table(
    "house",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=True),
    Column("at", UtcDateTime(), nullable=False),
    Column("person", Text, nullable=False, default=""),
    Column("text", Text, nullable=False),  # house.toml
    Column("reason", Text, nullable=False, default=""),
)

# Files that a house names: its weather.
file = Table(
    "file",
    metadata,
    Column("name", Text, primary_key=True),
    Column("at", UtcDateTime(), nullable=False),
    Column("content", LargeBinary, nullable=False),
)

setting = Table(
    "setting",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

# Plans: every version is kept --------------------------------------------------------------------

plan_run = Table(
    "plan_run",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("started_at", UtcDateTime(), nullable=False),
    Column("ended_at", UtcDateTime()),
    Column("person", Text, nullable=False, default=""),
    Column("state", String(16), nullable=False),  # running, done, stopped, failed
    Column("from_date", Date, nullable=False),
    Column("seconds", Float, nullable=False),
    Column("plan", Integer),
    Column("message", Text, nullable=False, default=""),
)

plan = Table(
    "plan",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("made_at", UtcDateTime(), nullable=False),
    Column("person", Text, nullable=False, default=""),
    Column("state", String(16), nullable=False, index=True),  # proposed, current, past, declined
    Column("accepted_at", UtcDateTime()),
    Column("based_on", Integer),  # the plan it kept to
    Column("house_version", Integer),
    Column("from_date", Date, nullable=False),
    Column("until_date", Date, nullable=False),
    Column("cost", Float, nullable=False),
    Column("bound", Float, nullable=False),
    Column("gap_frac", Float, nullable=False),
    Column("n_sowings", Integer, nullable=False),
    Column("n_orders", Integer, nullable=False),
    Column("n_unmet", Integer, nullable=False),
    Column("n_moved", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),  # plan.json, compressed by zlib
)

_PLAN_KEY = "plan.id"

planned_sowing = Table(
    "planned_sowing",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("sowing", Text, primary_key=True),
    Column("position", Integer, nullable=False),
    Column("crop", Text, nullable=False),
    Column("variety", Text, nullable=False),
    Column("lot", Text, nullable=False),
    Column("sow_date", Date, nullable=False),
    Column("end_date", Date, nullable=False),
    Column("n_cells", Integer, nullable=False),
    Column("n_seeds", Integer, nullable=False),
    Column("orders", Text, nullable=False, default=""),  # names, "|" between
    Column("body", Text, nullable=False),  # domain.plan.Sowing as JSON
    Column("card", Text, nullable=False, default=""),  # services.cards.Card as JSON
    Index(None, "plan", "sow_date"),
    Index(None, "plan", "end_date"),
    Index(None, "plan", "lot"),
)

planned_stay = Table(
    "planned_stay",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("sowing", Text, primary_key=True),
    Column("step", Integer, primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("place", Text, nullable=False),
    Column("container", Text, nullable=False),
    Column("n_containers", Integer, nullable=False),
    Column("n_cells", Integer, nullable=False),
    Column("from_date", Date, nullable=False),
    Column("to_date", Date, nullable=False),
    Index(None, "plan", "place", "from_date"),
)

planned_order = Table(
    "planned_order",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("name", Text, primary_key=True),
    Column("planned", Integer, nullable=False),
    Column("n_unmet", Integer, nullable=False),
    Column("chance_enough_frac", Float, nullable=False),
    Column("chance_in_time_frac", Float, nullable=False),
    Column("chance_filled_frac", Float, nullable=False),
    Column("expected_short", Float, nullable=False),
    Column("body", Text, nullable=False),  # domain.plan.OrderPlan as JSON
    Column("unmet", Text, nullable=False, default=""),  # domain.plan.Unmet as JSON
)

planned_job = Table(
    "planned_job",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("key", Text, primary_key=True),  # DATE/task/sowing/place
    Column("date", Date, nullable=False),
    Column("task", String(16), nullable=False),
    Column("sowing", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("minutes", Float, nullable=False),
    Column("slack_d", Integer, nullable=False),
    Column("words", Text, nullable=False, default=""),
    Index(None, "plan", "date"),
    Index(None, "plan", "sowing", "date"),
)

planned_use = Table(
    "planned_use",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("name", Text, primary_key=True),  # a place, or "hands"
    Column("position", Integer, nullable=False),
    Column("unit", String(16), nullable=False),
    Column("first_date", Date, nullable=False),
    Column("use", Text, nullable=False),  # JSON, a number a day
    Column("capacity", Text),  # JSON, a number a day; null for no limit
)

planned_supply = Table(
    "planned_supply",
    metadata,
    Column("plan", Integer, ForeignKey(_PLAN_KEY, ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("needed_date", Date, nullable=False),
    Column("order_by_date", Date, nullable=False),
    Column("item", Text, nullable=False),
    Column("amount", Float, nullable=False),
    Column("unit", Text, nullable=False),
    Column("in_stock", Float, nullable=False),
    Column("to_buy", Float, nullable=False),
)

factor_choice = Table(
    "factor_choice",
    metadata,
    Column("name", Text, primary_key=True),  # "freeze|" or "drop|", and what it is about
    Column("value", Float),  # multiplier of a frozen factor; null of dropped evidence
    Column("at", UtcDateTime(), nullable=False),
    Column("person", Text, nullable=False, default=""),
    Column("reason", Text, nullable=False, default=""),
)

plan_learned = Table(
    "plan_learned",
    metadata,
    Column("plan", Integer, primary_key=True, autoincrement=False),
    Column("body", Text, nullable=False),  # services.learned_values.LearnedValues as JSON
)

# Derived from the journal: `sowbench rebuild` makes them anew -------------------------------------

sowing_life = Table(
    "sowing_life",
    metadata,
    Column("sowing", Text, primary_key=True),
    Column("crop", Text, nullable=False, default=""),
    Column("variety", Text, nullable=False, default=""),
    Column("lot", Text, nullable=False, default=""),
    Column("sown_date", Date),
    Column("n_cells", Integer),
    Column("n_seeds", Integer),
    Column("n_lost", Integer, nullable=False, default=0),
    Column("n_delivered", Integer, nullable=False, default=0),
    Column("counted_date", Date),
    Column("n_right", Integer),  # cells with what is wanted, in those last looked at
    Column("n_seen", Integer),  # cells last looked at
    Column("place", Text, nullable=False, default=""),  # of most of its trays
    Column("ended_date", Date),
    Column("last_entry_at", UtcDateTime()),
    Column("n_entries", Integer, nullable=False, default=0),
    Index(None, "ended_date", "sown_date"),
    Index(None, "lot", "sown_date"),
)

tray = Table(
    "tray",
    metadata,
    Column("sowing", Text, primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("container", Text, nullable=False),
    Column("n_cells", Integer, nullable=False),
    Column("place", Text, nullable=False, default=""),
    Column("from_date", Date, nullable=False),
    Column("gone_date", Date),
    Column(
        "gone_how", String(32), nullable=False, default=""
    ),  # potted on, dumped, delivered, lost
    Column("counted_date", Date),
    Column("counted_by", Text, nullable=False, default=""),
    Column("count_entry", String(64), nullable=False, default=""),
    Column("n_right", Integer),
    Column("n_seen", Integer),
    Column("cells", Text, nullable=False, default=""),
    Index(None, "place", "gone_date"),
)

delivery = Table(
    "delivery",
    metadata,
    Column("entry", String(64), primary_key=True),
    Column("sowing", Text, nullable=False),
    Column("name", Text, nullable=False),  # of the order
    Column("date", Date, nullable=False),
    Column("plants", Integer, nullable=False),
    Index(None, "name"),
    Index(None, "sowing"),
)

job_done = Table(
    "job_done",
    metadata,
    Column("key", Text, primary_key=True),
    Column("entry", String(64), nullable=False),
    Column("date", Date, nullable=False),
    Column("at", UtcDateTime()),
    Column("person", Text, nullable=False, default=""),
    Column("sowing", Text, nullable=False, default=""),
    Index(None, "sowing"),
    Index(None, "entry"),
)

finished_sowing = Table(
    "finished_sowing",
    metadata,
    Column("sowing", Text, primary_key=True),
    Column("seq", BigInteger, nullable=False),  # last entry that it was made from
    Column("basis", Text, nullable=False),  # what else it was made from
    Column("body", Text, nullable=False),  # forecasting.learning_records.FinishedSowing as JSON
)

DERIVED: Final = (sowing_life, tray, delivery, job_done, finished_sowing)
"""Tables that follow from the journal, and can be made anew from it."""
