"""Keep what finished sowings say, what the grower decides of it, and what a plan was made with."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0002"
down_revision: Final = "0001"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "factor_choice",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_factor_choice")),
    )
    op.create_table(
        "finished_sowing",
        sa.Column("sowing", sa.Text(), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sowing", name=op.f("pk_finished_sowing")),
    )
    op.create_table(
        "plan_learned",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("plan", name=op.f("pk_plan_learned")),
    )


def downgrade() -> None:
    """Take the tables away."""
    op.drop_table("plan_learned")
    op.drop_table("finished_sowing")
    op.drop_table("factor_choice")
