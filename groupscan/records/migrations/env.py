"""What alembic runs to migrate: always on a connection that the caller hands over."""

from typing import Any, Literal

from alembic import context

from groupscan.records.schema import UtcDateTime, metadata


def render_item(kind: str, item: Any, _context: Any) -> str | Literal[False]:
    """Write our column types as plain ones: a migration must outlive the code it came from."""
    if kind == "type" and isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    return False


def run() -> None:
    """Run the migrations inside the caller's transaction."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=metadata,
        render_as_batch=True,
        render_item=render_item,
    )
    with context.begin_transaction():
        context.run_migrations()


# alembic loads this file under a name of its own; whoever imports it as part of the package
# (a documentation or test tool) has no migration under way.
if __name__ != "groupscan.records.migrations.env":
    run()
