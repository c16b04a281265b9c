"""The first tables of a book."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:

    op.create_table(
        "mapping",
        sa.Column("header", sa.String(length=64), nullable=False),
        sa.Column("answers", sa.Text(), nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.PrimaryKeyConstraint("header", name=op.f("pk_mapping")),
    )
    op.create_table(
        "trial",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial")),
        sa.UniqueConstraint("name", name=op.f("uq_trial_name")),
    )
    op.create_table(
        "heap",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_heap_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heap")),
        sa.UniqueConstraint("trial", "name", name=op.f("uq_heap_trial_name")),
    )
    op.create_table(
        "look",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(length=20), nullable=False),
        sa.Column("ended", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_look_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_look")),
    )
    with op.batch_alter_table("look", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_look_trial"), ["trial"], unique=False)

    op.create_table(
        "plan",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.String(length=16), nullable=False),
        sa.Column("locked", sa.Integer(), nullable=False),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.CheckConstraint("locked in (0, 1)", name=op.f("ck_plan_locked")),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_plan_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
        sa.UniqueConstraint("trial", "version", name=op.f("uq_plan_trial_version")),
    )
    with op.batch_alter_table("plan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_trial"), ["trial"], unique=False)

    op.create_table(
        "round",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("low", sa.String(length=20), nullable=False),
        sa.Column("high", sa.String(length=20), nullable=False),
        sa.Column("typed_when", sa.Text(), server_default="", nullable=False),
        sa.Column("reader", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_round_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round")),
    )
    with op.batch_alter_table("round", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_round_trial"), ["trial"], unique=False)

    op.create_table(
        "event",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("low", sa.String(length=20), nullable=False),
        sa.Column("high", sa.String(length=20), nullable=False),
        sa.Column("typed_when", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=12), nullable=False),
        sa.Column("replaces", sa.String(length=64), nullable=True),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("heap", sa.String(length=64), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("water_l", sa.Float(), nullable=True),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("who", sa.Text(), server_default="", nullable=False),
        sa.Column("typed", sa.Text(), server_default="", nullable=False),
        sa.CheckConstraint(
            "action in ('entered', 'corrected', 'withdrawn', 'restored')",
            name=op.f("ck_event_action"),
        ),
        sa.CheckConstraint("(version = 1) = (replaces is null)", name=op.f("ck_event_chain")),
        sa.ForeignKeyConstraint(["heap"], ["heap.id"], name=op.f("fk_event_heap_heap")),
        sa.ForeignKeyConstraint(["replaces"], ["event.id"], name=op.f("fk_event_replaces_event")),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_event_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
        sa.UniqueConstraint("replaces", name=op.f("uq_event_replaces")),
        sa.UniqueConstraint("root", "version", name=op.f("uq_event_root_version")),
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_event_heap"), ["heap"], unique=False)
        batch_op.create_index(batch_op.f("ix_event_low"), ["low"], unique=False)
        batch_op.create_index(batch_op.f("ix_event_root"), ["root"], unique=False)
        batch_op.create_index(batch_op.f("ix_event_trial"), ["trial"], unique=False)

    op.create_table(
        "reading",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("low", sa.String(length=20), nullable=False),
        sa.Column("high", sa.String(length=20), nullable=False),
        sa.Column("typed_when", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=12), nullable=False),
        sa.Column("replaces", sa.String(length=64), nullable=True),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("heap", sa.String(length=64), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("typed", sa.Text(), server_default="", nullable=False),
        sa.Column("typed_unit", sa.Text(), server_default="", nullable=False),
        sa.Column("spot", sa.Text(), server_default="", nullable=False),
        sa.Column("probe", sa.Text(), server_default="", nullable=False),
        sa.Column("reader", sa.Text(), server_default="", nullable=False),
        sa.Column("depth_m", sa.Float(), nullable=True),
        sa.Column("pipe_distance_m", sa.Float(), nullable=True),
        sa.Column("round", sa.String(length=64), nullable=True),
        sa.CheckConstraint(
            "action in ('entered', 'corrected', 'withdrawn', 'restored')",
            name=op.f("ck_reading_action"),
        ),
        sa.CheckConstraint("(version = 1) = (replaces is null)", name=op.f("ck_reading_chain")),
        sa.ForeignKeyConstraint(["heap"], ["heap.id"], name=op.f("fk_reading_heap_heap")),
        sa.ForeignKeyConstraint(
            ["replaces"], ["reading.id"], name=op.f("fk_reading_replaces_reading")
        ),
        sa.ForeignKeyConstraint(["round"], ["round.id"], name=op.f("fk_reading_round_round")),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_reading_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("replaces", name=op.f("uq_reading_replaces")),
        sa.UniqueConstraint("root", "version", name=op.f("uq_reading_root_version")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reading_heap"), ["heap"], unique=False)
        batch_op.create_index(batch_op.f("ix_reading_low"), ["low"], unique=False)
        batch_op.create_index(batch_op.f("ix_reading_root"), ["root"], unique=False)
        batch_op.create_index(batch_op.f("ix_reading_round"), ["round"], unique=False)
        batch_op.create_index(batch_op.f("ix_reading_trial"), ["trial"], unique=False)

    op.create_table(
        "sample",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("low", sa.String(length=20), nullable=False),
        sa.Column("high", sa.String(length=20), nullable=False),
        sa.Column("typed_when", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=12), nullable=False),
        sa.Column("replaces", sa.String(length=64), nullable=True),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("heap", sa.String(length=64), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("typed", sa.Text(), server_default="", nullable=False),
        sa.Column("typed_unit", sa.Text(), server_default="", nullable=False),
        sa.Column("part", sa.Text(), server_default="", nullable=False),
        sa.Column("method", sa.Text(), server_default="", nullable=False),
        sa.Column("basis", sa.Text(), server_default="", nullable=False),
        sa.CheckConstraint(
            "action in ('entered', 'corrected', 'withdrawn', 'restored')",
            name=op.f("ck_sample_action"),
        ),
        sa.CheckConstraint("(version = 1) = (replaces is null)", name=op.f("ck_sample_chain")),
        sa.ForeignKeyConstraint(["heap"], ["heap.id"], name=op.f("fk_sample_heap_heap")),
        sa.ForeignKeyConstraint(
            ["replaces"], ["sample.id"], name=op.f("fk_sample_replaces_sample")
        ),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_sample_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample")),
        sa.UniqueConstraint("replaces", name=op.f("uq_sample_replaces")),
        sa.UniqueConstraint("root", "version", name=op.f("uq_sample_root_version")),
    )
    with op.batch_alter_table("sample", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sample_heap"), ["heap"], unique=False)
        batch_op.create_index(batch_op.f("ix_sample_low"), ["low"], unique=False)
        batch_op.create_index(batch_op.f("ix_sample_root"), ["root"], unique=False)
        batch_op.create_index(batch_op.f("ix_sample_trial"), ["trial"], unique=False)

    op.create_table(
        "weather",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("trial", sa.String(length=64), nullable=False),
        sa.Column("low", sa.String(length=20), nullable=False),
        sa.Column("high", sa.String(length=20), nullable=False),
        sa.Column("typed_when", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("root", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=12), nullable=False),
        sa.Column("replaces", sa.String(length=64), nullable=True),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("recorded", sa.String(length=20), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("typed", sa.Text(), server_default="", nullable=False),
        sa.Column("typed_unit", sa.Text(), server_default="", nullable=False),
        sa.Column("origin", sa.Text(), server_default="", nullable=False),
        sa.Column("round", sa.String(length=64), nullable=True),
        sa.CheckConstraint(
            "action in ('entered', 'corrected', 'withdrawn', 'restored')",
            name=op.f("ck_weather_action"),
        ),
        sa.CheckConstraint("(version = 1) = (replaces is null)", name=op.f("ck_weather_chain")),
        sa.ForeignKeyConstraint(
            ["replaces"], ["weather.id"], name=op.f("fk_weather_replaces_weather")
        ),
        sa.ForeignKeyConstraint(["round"], ["round.id"], name=op.f("fk_weather_round_round")),
        sa.ForeignKeyConstraint(["trial"], ["trial.id"], name=op.f("fk_weather_trial_trial")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weather")),
        sa.UniqueConstraint("replaces", name=op.f("uq_weather_replaces")),
        sa.UniqueConstraint("root", "version", name=op.f("uq_weather_root_version")),
    )
    with op.batch_alter_table("weather", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_weather_low"), ["low"], unique=False)
        batch_op.create_index(batch_op.f("ix_weather_root"), ["root"], unique=False)
        batch_op.create_index(batch_op.f("ix_weather_round"), ["round"], unique=False)
        batch_op.create_index(batch_op.f("ix_weather_trial"), ["trial"], unique=False)
