"""Run the migrations on the connection that the store hands over."""

from __future__ import annotations

from alembic import context

from analysis.store.schema import metadata


def run() -> None:
    """Migrate inside the transaction that is open on the connection."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=metadata,
        render_as_batch=True,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


if __name__ == "env_py":  # the name under which Alembic loads this file
    run()
