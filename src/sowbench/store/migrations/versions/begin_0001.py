"""Begin the book: what is entered, the plans, and what follows from the journal."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0001"
down_revision: Final = None

# SQLite counts rows only where the key is INTEGER.
_COUNTER: Final = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_OF_LOT: Final = sa.text("lot != ''")
_TICKS: Final = sa.text("job != ''")
_MENDS: Final = sa.text("corrects != ''")


def upgrade() -> None:
    """Make the tables."""
    _make_entered()
    _make_planned()
    _make_derived()


def downgrade() -> None:
    """Take the tables away."""
    op.drop_table("planned_use")
    op.drop_table("planned_supply")
    op.drop_table("planned_stay")
    op.drop_table("planned_sowing")
    op.drop_table("planned_order")
    op.drop_table("planned_job")
    op.drop_table("tray")
    op.drop_table("standing")
    op.drop_table("sowing_life")
    op.drop_table("setting")
    op.drop_table("seed_lot")
    op.drop_table("plan_run")
    op.drop_table("plan")
    op.drop_table("pin")
    op.drop_table("orders")
    op.drop_table("job_done")
    op.drop_table("house")
    op.drop_table("file")
    op.drop_table("entry")
    op.drop_table("delivery")
    op.drop_table("change")


def _make_entered() -> None:
    """Make the tables of what is entered."""
    op.create_table(
        "entry",
        sa.Column("seq", _COUNTER, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("day_date", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("corrects", sa.String(length=64), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_entry")),
        sa.UniqueConstraint("id", name=op.f("uq_entry_id")),
    )
    op.create_index(
        "ix_entry_corrects",
        "entry",
        ["corrects", "seq"],
        sqlite_where=_MENDS,
        postgresql_where=_MENDS,
    )
    op.create_index(op.f("ix_entry_day_date_seq"), "entry", ["day_date", "seq"])
    op.create_index("ix_entry_job", "entry", ["job"], sqlite_where=_TICKS, postgresql_where=_TICKS)
    op.create_index(
        "ix_entry_lot",
        "entry",
        ["lot", "sowing", "seq"],
        sqlite_where=_OF_LOT,
        postgresql_where=_OF_LOT,
    )
    op.create_index(op.f("ix_entry_sowing_seq"), "entry", ["sowing", "seq"])
    op.create_table(
        "orders",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("variety", sa.Text(), nullable=False),
        sa.Column("substitutes", sa.Text(), nullable=False),
        sa.Column("plants", sa.Integer(), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("wanted_date", sa.Date(), nullable=False),
        sa.Column("earliest_date", sa.Date(), nullable=False),
        sa.Column("latest_date", sa.Date(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("containers", sa.Text(), nullable=False),
        sa.Column("confidence_frac", sa.Float(), nullable=True),
        sa.Column("min_frac", sa.Float(), nullable=False),
        sa.Column("partial", sa.Boolean(), nullable=False),
        sa.Column("organic", sa.Boolean(), nullable=False),
        sa.Column("handover", sa.Text(), nullable=False),
        sa.Column("status", sa.String(length=16), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("standing_of", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_orders")),
    )
    op.create_index(op.f("ix_orders_customer"), "orders", ["customer"])
    op.create_index(
        op.f("ix_orders_latest_date_wanted_date"), "orders", ["latest_date", "wanted_date"]
    )
    op.create_index(
        "ix_orders_standing_of",
        "orders",
        ["standing_of", "wanted_date", "position", "status"],
    )
    op.create_index(op.f("ix_orders_wanted_date_position"), "orders", ["wanted_date", "position"])
    op.create_table(
        "seed_lot",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("variety", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_seed_lot")),
    )
    op.create_index(op.f("ix_seed_lot_crop"), "seed_lot", ["crop"])
    op.create_table(
        "standing",
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sowing", name=op.f("pk_standing")),
    )
    op.create_table(
        "pin",
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("target", name=op.f("pk_pin")),
    )
    op.create_table(
        "change",
        sa.Column("seq", _COUNTER, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("subject", sa.String(length=16), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_change")),
    )
    op.create_index(op.f("ix_change_subject_name_seq"), "change", ["subject", "name", "seq"])
    op.create_table(
        "house",
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_house")),
    )
    op.create_table(
        "file",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_file")),
    )
    op.create_table(
        "setting",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )


def _make_planned() -> None:
    """Make the tables of the plans."""
    op.create_table(
        "plan_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("from_date", sa.Date(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=True),
        sa.Column("message", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_run")),
    )
    op.create_table(
        "plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("based_on", sa.Integer(), nullable=True),
        sa.Column("house_version", sa.Integer(), nullable=True),
        sa.Column("from_date", sa.Date(), nullable=False),
        sa.Column("until_date", sa.Date(), nullable=False),
        sa.Column("cost", sa.Float(), nullable=False),
        sa.Column("bound", sa.Float(), nullable=False),
        sa.Column("gap_frac", sa.Float(), nullable=False),
        sa.Column("n_sowings", sa.Integer(), nullable=False),
        sa.Column("n_orders", sa.Integer(), nullable=False),
        sa.Column("n_unmet", sa.Integer(), nullable=False),
        sa.Column("n_moved", sa.Integer(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
    )
    op.create_index(op.f("ix_plan_state"), "plan", ["state"])
    op.create_table(
        "planned_sowing",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("variety", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("sow_date", sa.Date(), nullable=False),
        sa.Column("end_date", sa.Date(), nullable=False),
        sa.Column("n_cells", sa.Integer(), nullable=False),
        sa.Column("n_seeds", sa.Integer(), nullable=False),
        sa.Column("orders", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_sowing_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "sowing", name=op.f("pk_planned_sowing")),
    )
    op.create_index(op.f("ix_planned_sowing_plan_end_date"), "planned_sowing", ["plan", "end_date"])
    op.create_index(op.f("ix_planned_sowing_plan_lot"), "planned_sowing", ["plan", "lot"])
    op.create_index(op.f("ix_planned_sowing_plan_sow_date"), "planned_sowing", ["plan", "sow_date"])
    op.create_table(
        "planned_stay",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("container", sa.Text(), nullable=False),
        sa.Column("n_containers", sa.Integer(), nullable=False),
        sa.Column("n_cells", sa.Integer(), nullable=False),
        sa.Column("from_date", sa.Date(), nullable=False),
        sa.Column("to_date", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_stay_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "sowing", "step", name=op.f("pk_planned_stay")),
    )
    op.create_index(
        op.f("ix_planned_stay_plan_place_from_date"), "planned_stay", ["plan", "place", "from_date"]
    )
    op.create_table(
        "planned_order",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("planned", sa.Integer(), nullable=False),
        sa.Column("n_unmet", sa.Integer(), nullable=False),
        sa.Column("chance_enough_frac", sa.Float(), nullable=False),
        sa.Column("chance_in_time_frac", sa.Float(), nullable=False),
        sa.Column("chance_filled_frac", sa.Float(), nullable=False),
        sa.Column("expected_short", sa.Float(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("unmet", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_order_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "name", name=op.f("pk_planned_order")),
    )
    op.create_table(
        "planned_job",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("task", sa.String(length=16), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("slack_d", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_job_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "key", name=op.f("pk_planned_job")),
    )
    op.create_index(op.f("ix_planned_job_plan_date"), "planned_job", ["plan", "date"])
    op.create_index(
        op.f("ix_planned_job_plan_sowing_date"), "planned_job", ["plan", "sowing", "date"]
    )
    op.create_table(
        "planned_use",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("first_date", sa.Date(), nullable=False),
        sa.Column("use", sa.Text(), nullable=False),
        sa.Column("capacity", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_use_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "name", name=op.f("pk_planned_use")),
    )
    op.create_table(
        "planned_supply",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("needed_date", sa.Date(), nullable=False),
        sa.Column("order_by_date", sa.Date(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("amount", sa.Float(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("in_stock", sa.Float(), nullable=False),
        sa.Column("to_buy", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan"], ["plan.id"], name=op.f("fk_planned_supply_plan_plan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan", "position", name=op.f("pk_planned_supply")),
    )


def _make_derived() -> None:
    """Make the tables of what follows from the journal."""
    op.create_table(
        "sowing_life",
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("variety", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("sown_date", sa.Date(), nullable=True),
        sa.Column("n_cells", sa.Integer(), nullable=True),
        sa.Column("n_seeds", sa.Integer(), nullable=True),
        sa.Column("n_lost", sa.Integer(), nullable=False),
        sa.Column("n_delivered", sa.Integer(), nullable=False),
        sa.Column("counted_date", sa.Date(), nullable=True),
        sa.Column("n_right", sa.Integer(), nullable=True),
        sa.Column("n_seen", sa.Integer(), nullable=True),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("ended_date", sa.Date(), nullable=True),
        sa.Column("last_entry_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("n_entries", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("sowing", name=op.f("pk_sowing_life")),
    )
    op.create_index(
        op.f("ix_sowing_life_ended_date_sown_date"), "sowing_life", ["ended_date", "sown_date"]
    )
    op.create_index(op.f("ix_sowing_life_lot_sown_date"), "sowing_life", ["lot", "sown_date"])
    op.create_table(
        "tray",
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("container", sa.Text(), nullable=False),
        sa.Column("n_cells", sa.Integer(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("from_date", sa.Date(), nullable=False),
        sa.Column("gone_date", sa.Date(), nullable=True),
        sa.Column("gone_how", sa.String(length=32), nullable=False),
        sa.Column("counted_date", sa.Date(), nullable=True),
        sa.Column("counted_by", sa.Text(), nullable=False),
        sa.Column("count_entry", sa.String(length=64), nullable=False),
        sa.Column("n_right", sa.Integer(), nullable=True),
        sa.Column("n_seen", sa.Integer(), nullable=True),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sowing", "number", name=op.f("pk_tray")),
    )
    op.create_index(op.f("ix_tray_place_gone_date"), "tray", ["place", "gone_date"])
    op.create_table(
        "delivery",
        sa.Column("entry", sa.String(length=64), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("plants", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name=op.f("pk_delivery")),
    )
    op.create_index(op.f("ix_delivery_name"), "delivery", ["name"])
    op.create_index(op.f("ix_delivery_sowing"), "delivery", ["sowing"])
    op.create_table(
        "job_done",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("entry", sa.String(length=64), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_job_done")),
    )
    op.create_index(op.f("ix_job_done_entry"), "job_done", ["entry"])
    op.create_index(op.f("ix_job_done_sowing"), "job_done", ["sowing"])
