"""Who shot with what: shooters, rigs and their setups, builds, arrows, heads, and corrections.

Revision 0003, after 0002. What was a name in a session or a shot becomes a row that it refers to;
an end need no longer have a photo; every row gets an identity that it keeps in other stores.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_NOW = "CURRENT_TIMESTAMP"
_KINDS = ("field point", "fixed-blade", "expandable", "bare shaft")


def upgrade() -> None:
    """Step forward."""
    _make_gear()
    _make_audit()
    _set_aside()
    _make_session()
    _make_scan()
    _make_shot()
    _name_gear()
    _bring_back()
    _count_on()


def downgrade() -> None:
    """Step back: names stand in sessions and shots again; ends without a photo cannot stay."""
    for statement in _NAMED:
        op.execute(statement)
    for table in ("shot", "scan", "session", "audit", "setup", "arrow", "build", "rig"):
        op.drop_table(table)
    for table in ("head", "shooter"):
        op.drop_table(table)
    _make_old_tables()
    for table in ("session", "scan", "shot"):
        op.execute(f"INSERT INTO {table} SELECT * FROM old_{table}")
        op.execute(f"DROP TABLE old_{table}")
    _count_on()


def _make_gear() -> None:
    op.create_table(
        "shooter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("hand", sa.Text(), nullable=False),
        sa.Column("coach_id", sa.Integer()),
        sa.Column("goals", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("coach_id <> id", name=op.f("ck_shooter_coach_is_another")),
        sa.ForeignKeyConstraint(
            ["coach_id"], ["shooter.id"], name=op.f("fk_shooter_coach_id_shooter")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shooter")),
        sa.UniqueConstraint("uid", name=op.f("uq_shooter_uid")),
    )
    op.create_index(op.f("ix_shooter_coach_id"), "shooter", ["coach_id"], unique=False)
    op.create_table(
        "rig",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shooter_id", sa.Integer()),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("bow", sa.Text(), nullable=False),
        sa.Column("hand", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shooter_id"], ["shooter.id"], name=op.f("fk_rig_shooter_id_shooter")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rig")),
        sa.UniqueConstraint("uid", name=op.f("uq_rig_uid")),
    )
    op.create_index(op.f("ix_rig_shooter_id"), "rig", ["shooter_id"], unique=False)
    op.create_table(
        "build",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shooter_id", sa.Integer()),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("shaft", sa.Text(), nullable=False),
        sa.Column("shaft_mm", sa.Double()),
        sa.Column("length_mm", sa.Double()),
        sa.Column("spine", sa.Double()),
        sa.Column("shaft_g_per_m", sa.Double()),
        sa.Column("insert", sa.Text(), nullable=False),
        sa.Column("insert_g", sa.Double()),
        sa.Column("collar_g", sa.Double()),
        sa.Column("point_g", sa.Double()),
        sa.Column("fletching", sa.Text(), nullable=False),
        sa.Column("fletching_g", sa.Double()),
        sa.Column("wrap_g", sa.Double()),
        sa.Column("nock", sa.Text(), nullable=False),
        sa.Column("nock_g", sa.Double()),
        sa.Column("mass_g", sa.Double()),
        sa.Column("balance_mm", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("balance_mm > 0", name=op.f("ck_build_balance_mm_positive")),
        sa.CheckConstraint("collar_g >= 0", name=op.f("ck_build_collar_g_not_negative")),
        sa.CheckConstraint("fletching_g >= 0", name=op.f("ck_build_fletching_g_not_negative")),
        sa.CheckConstraint("insert_g >= 0", name=op.f("ck_build_insert_g_not_negative")),
        sa.CheckConstraint("length_mm > 0", name=op.f("ck_build_length_mm_positive")),
        sa.CheckConstraint("mass_g > 0", name=op.f("ck_build_mass_g_positive")),
        sa.CheckConstraint("nock_g >= 0", name=op.f("ck_build_nock_g_not_negative")),
        sa.CheckConstraint("point_g >= 0", name=op.f("ck_build_point_g_not_negative")),
        sa.CheckConstraint("shaft_g_per_m > 0", name=op.f("ck_build_shaft_g_per_m_positive")),
        sa.CheckConstraint("shaft_mm > 0", name=op.f("ck_build_shaft_mm_positive")),
        sa.CheckConstraint("spine > 0", name=op.f("ck_build_spine_positive")),
        sa.CheckConstraint("wrap_g >= 0", name=op.f("ck_build_wrap_g_not_negative")),
        sa.ForeignKeyConstraint(
            ["shooter_id"], ["shooter.id"], name=op.f("fk_build_shooter_id_shooter")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_build")),
        sa.UniqueConstraint("uid", name=op.f("uq_build_uid")),
    )
    op.create_index(op.f("ix_build_shooter_id"), "build", ["shooter_id"], unique=False)
    op.create_table(
        "setup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("rig_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("changed", sa.Text(), nullable=False),
        sa.Column("draw_weight_n", sa.Double()),
        sa.Column("draw_length_mm", sa.Double()),
        sa.Column("sight_radius_mm", sa.Double()),
        sa.Column("peep_height_mm", sa.Double()),
        sa.Column("build_id", sa.Integer()),
        sa.Column("rest", sa.Text(), nullable=False),
        sa.Column("sight", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.CheckConstraint("draw_length_mm > 0", name=op.f("ck_setup_draw_length_mm_positive")),
        sa.CheckConstraint("draw_weight_n > 0", name=op.f("ck_setup_draw_weight_n_positive")),
        sa.CheckConstraint("peep_height_mm > 0", name=op.f("ck_setup_peep_height_mm_positive")),
        sa.CheckConstraint("sight_radius_mm > 0", name=op.f("ck_setup_sight_radius_mm_positive")),
        sa.ForeignKeyConstraint(["build_id"], ["build.id"], name=op.f("fk_setup_build_id_build")),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_setup_rig_id_rig")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup")),
        sa.UniqueConstraint("uid", name=op.f("uq_setup_uid")),
    )
    op.create_index(op.f("ix_setup_build_id"), "setup", ["build_id"], unique=False)
    op.create_index(op.f("ix_setup_rig_id"), "setup", ["rig_id"], unique=False)
    op.create_table(
        "arrow",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shooter_id", sa.Integer()),
        sa.Column("build_id", sa.Integer()),
        sa.Column("first_id", sa.Integer()),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("state_since", sa.Date()),
        sa.Column("state_why", sa.Text(), nullable=False),
        sa.Column("mass_g", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("mass_g > 0", name=op.f("ck_arrow_mass_g_positive")),
        sa.ForeignKeyConstraint(["build_id"], ["build.id"], name=op.f("fk_arrow_build_id_build")),
        sa.ForeignKeyConstraint(["first_id"], ["arrow.id"], name=op.f("fk_arrow_first_id_arrow")),
        sa.ForeignKeyConstraint(
            ["shooter_id"], ["shooter.id"], name=op.f("fk_arrow_shooter_id_shooter")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_arrow")),
        sa.UniqueConstraint("uid", name=op.f("uq_arrow_uid")),
    )
    op.create_index(op.f("ix_arrow_build_id"), "arrow", ["build_id"], unique=False)
    op.create_index(op.f("ix_arrow_first_id"), "arrow", ["first_id"], unique=False)
    op.create_index(op.f("ix_arrow_shooter_id"), "arrow", ["shooter_id"], unique=False)
    op.create_table(
        "head",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("blades", sa.Integer()),
        sa.Column("cut_mm", sa.Double()),
        sa.Column("mass_g", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("cut_mm > 0", name=op.f("ck_head_cut_mm_positive")),
        sa.CheckConstraint("mass_g > 0", name=op.f("ck_head_mass_g_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_head")),
        sa.UniqueConstraint("uid", name=op.f("uq_head_uid")),
    )


def _make_audit() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("entry", sa.Text(), nullable=False),
        sa.Column("entry_uid", sa.String(length=32), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
        sa.UniqueConstraint("uid", name=op.f("uq_audit_uid")),
    )
    op.create_index(op.f("ix_audit_entry_uid"), "audit", ["entry_uid"], unique=False)


def _make_session() -> None:
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("shooter_id", sa.Integer()),
        sa.Column("rig_id", sa.Integer()),
        sa.Column("setup_id", sa.Integer()),
        sa.Column("build_id", sa.Integer()),
        sa.Column("distance_m", sa.Double()),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("weather", sa.Text(), nullable=False),
        sa.Column("temperature_c", sa.Double()),
        sa.Column("pressure_pa", sa.Double()),
        sa.Column("humidity", sa.Double()),
        sa.Column("wind_m_s", sa.Double()),
        sa.Column("plan", sa.JSON(none_as_null=True)),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("distance_m > 0", name=op.f("ck_session_distance_positive")),
        sa.CheckConstraint("humidity BETWEEN 0 AND 1", name=op.f("ck_session_humidity_range")),
        sa.CheckConstraint("pressure_pa > 0", name=op.f("ck_session_pressure_positive")),
        sa.CheckConstraint("temperature_c > -273.15", name=op.f("ck_session_temperature_possible")),
        sa.CheckConstraint("wind_m_s >= 0", name=op.f("ck_session_wind_not_negative")),
        sa.ForeignKeyConstraint(["build_id"], ["build.id"], name=op.f("fk_session_build_id_build")),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_session_rig_id_rig")),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name=op.f("fk_session_setup_id_setup")),
        sa.ForeignKeyConstraint(
            ["shooter_id"], ["shooter.id"], name=op.f("fk_session_shooter_id_shooter")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
        sa.UniqueConstraint("uid", name=op.f("uq_session_uid")),
    )
    op.create_index(op.f("ix_session_build_id"), "session", ["build_id"], unique=False)
    op.create_index("ix_session_held_on", "session", ["held_on"], unique=False)
    op.create_index(op.f("ix_session_rig_id"), "session", ["rig_id"], unique=False)
    op.create_index(op.f("ix_session_setup_id"), "session", ["setup_id"], unique=False)
    op.create_index(op.f("ix_session_shooter_id"), "session", ["shooter_id"], unique=False)


def _make_scan() -> None:
    op.create_table(
        "scan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("photo_sha256", sa.String(length=64)),
        sa.Column("photo_name", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer()),
        sa.Column("height_px", sa.Integer()),
        sa.Column("sheet", sa.Text()),
        sa.Column("scale_source", sa.Text(), nullable=False),
        sa.Column("mm_per_px", sa.Double()),
        sa.Column("mm_per_px_se", sa.Double()),
        sa.Column("tilt_deg", sa.Double()),
        sa.Column("residual_px", sa.Double()),
        sa.Column("mm_to_px", sa.JSON(none_as_null=True)),
        sa.Column("lens", sa.JSON(none_as_null=True)),
        sa.Column("bend", sa.JSON(none_as_null=True)),
        sa.Column("aim_x_mm", sa.Double(), nullable=False),
        sa.Column("aim_y_mm", sa.Double(), nullable=False),
        sa.Column("aims_mm", sa.JSON(), nullable=False),
        sa.Column("warnings", sa.JSON(), nullable=False),
        sa.Column("shaft_mm", sa.Double()),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "(photo_sha256 IS NULL) = (mm_to_px IS NULL) AND (photo_sha256 IS NULL) = "
            "(width_px IS NULL) AND (photo_sha256 IS NULL) = (height_px IS NULL)",
            name=op.f("ck_scan_photo_whole"),
        ),
        sa.ForeignKeyConstraint(
            ["photo_sha256"], ["photo.sha256"], name=op.f("fk_scan_photo_sha256_photo")
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["session.id"], name=op.f("fk_scan_session_id_session")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scan")),
        sa.UniqueConstraint("uid", name=op.f("uq_scan_uid")),
    )
    op.create_index(op.f("ix_scan_photo_sha256"), "scan", ["photo_sha256"], unique=False)
    op.create_index(op.f("ix_scan_session_id"), "scan", ["session_id"], unique=False)


def _make_shot() -> None:
    op.create_table(
        "shot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("scan_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("shot_order", sa.Integer()),
        sa.Column("auto_x_mm", sa.Double()),
        sa.Column("auto_y_mm", sa.Double()),
        sa.Column("auto_se_mm", sa.Double()),
        sa.Column("auto_shared_se_mm", sa.Double()),
        sa.Column("x_mm", sa.Double(), nullable=False),
        sa.Column("y_mm", sa.Double(), nullable=False),
        sa.Column("x_px", sa.Double()),
        sa.Column("y_px", sa.Double()),
        sa.Column("se_mm", sa.Double()),
        sa.Column("diameter_mm", sa.Double()),
        sa.Column("cut", sa.Text(), nullable=False),
        sa.Column("confidence", sa.Double()),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("head_id", sa.Integer()),
        sa.Column("arrow_id", sa.Integer()),
        sa.Column("flyer", sa.Boolean(), nullable=False),
        sa.Column("flyer_why", sa.Text(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "(auto_x_mm IS NULL) = (auto_y_mm IS NULL)", name=op.f("ck_shot_auto_pair")
        ),
        sa.CheckConstraint("confidence BETWEEN 0 AND 1", name=op.f("ck_shot_confidence_range")),
        sa.CheckConstraint("shot_order > 0", name=op.f("ck_shot_order_positive")),
        sa.ForeignKeyConstraint(["arrow_id"], ["arrow.id"], name=op.f("fk_shot_arrow_id_arrow")),
        sa.ForeignKeyConstraint(["head_id"], ["head.id"], name=op.f("fk_shot_head_id_head")),
        sa.ForeignKeyConstraint(
            ["scan_id"], ["scan.id"], name=op.f("fk_shot_scan_id_scan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shot")),
        sa.UniqueConstraint("uid", name=op.f("uq_shot_uid")),
    )
    op.create_index(op.f("ix_shot_arrow_id"), "shot", ["arrow_id"], unique=False)
    op.create_index(op.f("ix_shot_head_id"), "shot", ["head_id"], unique=False)
    op.create_index(op.f("ix_shot_scan_id"), "shot", ["scan_id"], unique=False)
    op.create_index(
        "uq_shot_live_number",
        "shot",
        ["scan_id", "number"],
        unique=True,
        sqlite_where=sa.text("NOT removed"),
        postgresql_where=sa.text("NOT removed"),
    )


def _set_aside() -> None:
    """Move what is kept out of the way, into tables that end with this connection."""
    for table in ("session", "scan", "shot"):
        op.execute(f"CREATE TEMPORARY TABLE old_{table} AS SELECT * FROM {table}")
    for table in ("shot", "scan", "session"):
        op.drop_table(table)


def _uid() -> str:
    """Return what makes a new identity in each row, in the words of this database."""
    if op.get_bind().dialect.name == "postgresql":
        return "replace(CAST(gen_random_uuid() AS text), '-', '')"
    return "lower(hex(randomblob(16)))"


def _name_gear() -> None:
    """Give each name that stands in a session or a shot a row of its own."""
    uid = _uid()
    stamps = f"1, {_NOW}, {_NOW}"
    op.execute(
        "INSERT INTO shooter (uid, name, hand, goals, notes, revision, created_at, updated_at) "
        f"SELECT {uid}, shooter, '', '', '', {stamps} FROM old_session "
        "WHERE shooter <> '' GROUP BY shooter ORDER BY min(id)"
    )
    op.execute(
        "INSERT INTO rig (uid, shooter_id, name, bow, hand, notes, revision, created_at, "
        f"updated_at) SELECT {uid}, w.id, o.rig, '', '', '', {stamps} FROM old_session o "
        "LEFT JOIN shooter w ON w.name = o.shooter WHERE o.rig <> '' GROUP BY w.id, o.rig "
        "ORDER BY min(o.id)"
    )
    kinds = " ".join(f"WHEN lower(head) = '{kind}' THEN '{kind}'" for kind in _KINDS)
    op.execute(
        "INSERT INTO head (uid, name, kind, notes, revision, created_at, updated_at) "
        f"SELECT {uid}, head, CASE {kinds} ELSE '' END, '', {stamps} FROM old_shot "
        "WHERE head <> '' GROUP BY head ORDER BY min(id)"
    )
    op.execute(
        "INSERT INTO arrow (uid, shooter_id, number, state, state_why, notes, revision, "
        f"created_at, updated_at) SELECT {uid}, w.id, h.arrow, 'in use', '', '', {stamps} "
        "FROM old_shot h JOIN old_scan c ON c.id = h.scan_id JOIN old_session o "
        "ON o.id = c.session_id LEFT JOIN shooter w ON w.name = o.shooter WHERE h.arrow <> '' "
        "GROUP BY w.id, h.arrow ORDER BY min(h.id)"
    )


def _bring_back() -> None:
    """Put the sessions, scans and shots into their new tables, each with a new identity."""
    uid = _uid()
    op.execute(
        "INSERT INTO session (id, uid, revision, held_on, place, shooter_id, rig_id, distance_m, "
        "purpose, weather, notes, created_at, updated_at, deleted_at) "
        f"SELECT o.id, {uid}, o.revision, o.held_on, o.place, w.id, g.id, o.distance_m, '', '', "
        "o.notes, o.created_at, o.updated_at, o.deleted_at FROM old_session o "
        "LEFT JOIN shooter w ON w.name = o.shooter LEFT JOIN rig g ON g.name = o.rig "
        "AND (g.shooter_id = w.id OR (g.shooter_id IS NULL AND w.id IS NULL))"
    )
    same = (
        "id, revision, session_id, photo_sha256, photo_name, width_px, height_px, sheet, "
        "scale_source, mm_per_px, mm_per_px_se, tilt_deg, residual_px, mm_to_px, lens, bend, "
        "aim_x_mm, aim_y_mm, aims_mm, warnings, shaft_mm, created_at, updated_at, deleted_at"
    )
    op.execute(f"INSERT INTO scan (uid, label, {same}) SELECT {uid}, '', {same} FROM old_scan")
    same = (
        "id, scan_id, number, auto_x_mm, auto_y_mm, auto_se_mm, auto_shared_se_mm, x_mm, y_mm, "
        "x_px, y_px, se_mm, diameter_mm, cut, confidence, state, removed"
    )
    of_shot = ", ".join(f"h.{name}" for name in same.split(", "))
    op.execute(
        f"INSERT INTO shot (uid, flyer, flyer_why, head_id, arrow_id, {same}) SELECT {uid}, "
        f"{_false()}, '', d.id, a.id, {of_shot} FROM old_shot h "
        "JOIN old_scan c ON c.id = h.scan_id JOIN session o ON o.id = c.session_id "
        "LEFT JOIN head d ON d.name = h.head LEFT JOIN arrow a ON a.number = h.arrow "
        "AND (a.shooter_id = o.shooter_id OR (a.shooter_id IS NULL AND o.shooter_id IS NULL))"
    )
    for table in ("session", "scan", "shot"):
        op.execute(f"DROP TABLE old_{table}")


def _false() -> str:
    return "false" if op.get_bind().dialect.name == "postgresql" else "0"


def _count_on() -> None:
    """Let PostgreSQL number new rows after those that were put in with their numbers."""
    if op.get_bind().dialect.name == "postgresql":
        for table in ("session", "scan", "shot"):
            op.execute(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), "
                f"coalesce(max(id), 1), max(id) IS NOT NULL) FROM {table}"
            )


_NAMED = (
    "CREATE TEMPORARY TABLE old_session AS SELECT s.id, s.revision, s.held_on, s.place, "
    "coalesce(w.name, '') AS shooter, coalesce(g.name, '') AS rig, s.distance_m, s.notes, "
    "s.created_at, s.updated_at, s.deleted_at FROM session s "
    "LEFT JOIN shooter w ON w.id = s.shooter_id LEFT JOIN rig g ON g.id = s.rig_id",
    "CREATE TEMPORARY TABLE old_scan AS SELECT id, revision, session_id, photo_sha256, "
    "photo_name, width_px, height_px, sheet, scale_source, mm_per_px, mm_per_px_se, tilt_deg, "
    "residual_px, mm_to_px, lens, aim_x_mm, aim_y_mm, aims_mm, warnings, shaft_mm, created_at, "
    "updated_at, deleted_at, bend FROM scan WHERE photo_sha256 IS NOT NULL",
    "CREATE TEMPORARY TABLE old_shot AS SELECT h.id, h.scan_id, h.number, h.auto_x_mm, "
    "h.auto_y_mm, h.auto_se_mm, h.x_mm, h.y_mm, h.x_px, h.y_px, h.se_mm, h.diameter_mm, h.cut, "
    "h.confidence, h.state, coalesce(d.name, '') AS head, coalesce(a.number, '') AS arrow, "
    "h.removed, h.auto_shared_se_mm FROM shot h JOIN old_scan c ON c.id = h.scan_id "
    "LEFT JOIN head d ON d.id = h.head_id LEFT JOIN arrow a ON a.id = h.arrow_id",
)


def _make_old_tables() -> None:
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("shooter", sa.Text(), nullable=False),
        sa.Column("rig", sa.Text(), nullable=False),
        sa.Column("distance_m", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.CheckConstraint("distance_m > 0", name=op.f("ck_session_distance_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
    )
    op.create_table(
        "scan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("photo_name", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("sheet", sa.Text()),
        sa.Column("scale_source", sa.Text(), nullable=False),
        sa.Column("mm_per_px", sa.Double()),
        sa.Column("mm_per_px_se", sa.Double()),
        sa.Column("tilt_deg", sa.Double()),
        sa.Column("residual_px", sa.Double()),
        sa.Column("mm_to_px", sa.JSON(), nullable=False),
        sa.Column("lens", sa.JSON()),
        sa.Column("aim_x_mm", sa.Double(), nullable=False),
        sa.Column("aim_y_mm", sa.Double(), nullable=False),
        sa.Column("aims_mm", sa.JSON(), nullable=False),
        sa.Column("warnings", sa.JSON(), nullable=False),
        sa.Column("shaft_mm", sa.Double()),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.Column("bend", sa.JSON()),
        sa.ForeignKeyConstraint(
            ["photo_sha256"], ["photo.sha256"], name=op.f("fk_scan_photo_sha256_photo")
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["session.id"], name=op.f("fk_scan_session_id_session")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scan")),
    )
    op.create_index(op.f("ix_scan_photo_sha256"), "scan", ["photo_sha256"])
    op.create_index(op.f("ix_scan_session_id"), "scan", ["session_id"])
    op.create_table(
        "shot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scan_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("auto_x_mm", sa.Double()),
        sa.Column("auto_y_mm", sa.Double()),
        sa.Column("auto_se_mm", sa.Double()),
        sa.Column("x_mm", sa.Double(), nullable=False),
        sa.Column("y_mm", sa.Double(), nullable=False),
        sa.Column("x_px", sa.Double()),
        sa.Column("y_px", sa.Double()),
        sa.Column("se_mm", sa.Double()),
        sa.Column("diameter_mm", sa.Double()),
        sa.Column("cut", sa.Text(), nullable=False),
        sa.Column("confidence", sa.Double()),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.Column("arrow", sa.Text(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("auto_shared_se_mm", sa.Double()),
        sa.CheckConstraint(
            "(auto_x_mm IS NULL) = (auto_y_mm IS NULL)", name=op.f("ck_shot_auto_pair")
        ),
        sa.CheckConstraint("confidence BETWEEN 0 AND 1", name=op.f("ck_shot_confidence_range")),
        sa.ForeignKeyConstraint(
            ["scan_id"], ["scan.id"], name=op.f("fk_shot_scan_id_scan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shot")),
    )
    op.create_index(op.f("ix_shot_scan_id"), "shot", ["scan_id"])
    op.create_index(
        "uq_shot_live_number",
        "shot",
        ["scan_id", "number"],
        unique=True,
        sqlite_where=sa.text("NOT removed"),
        postgresql_where=sa.text("NOT removed"),
    )
