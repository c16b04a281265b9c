"""Forecasts as they were made, and a cache of what fits had learned."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "forecast",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("heap", sa.String(length=64), nullable=False),
        sa.Column("spot", sa.Text(), server_default="", nullable=False),
        sa.Column("made", sa.String(length=20), nullable=False),
        sa.Column("due", sa.String(length=20), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("mean", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.Column("no_change", sa.Float(), nullable=True),
        sa.Column("cooling", sa.Float(), nullable=True),
        sa.Column("weather", sa.Text(), server_default="", nullable=False),
        sa.Column("print", sa.String(length=16), nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.CheckConstraint("due > made", name=op.f("ck_forecast_ahead")),
        sa.CheckConstraint("low <= mean and mean <= high", name=op.f("ck_forecast_range")),
        sa.ForeignKeyConstraint(["heap"], ["heap.id"], name=op.f("fk_forecast_heap_heap")),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_forecast_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast")),
        sa.UniqueConstraint(
            "trial", "heap", "spot", "due", "made",
            name=op.f("uq_forecast_trial_heap_spot_due_made"),
        ),
    )  # fmt: skip
    op.create_table(
        "fit",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("print", sa.String(length=16), nullable=False),
        sa.Column("passes", sa.Integer(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_fit_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fit")),
        sa.UniqueConstraint("trial", "print", "passes", name=op.f("uq_fit_trial_print_passes")),
    )
