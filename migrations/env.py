"""Runs the migrations on the connection that the program hands over, inside its transaction."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=None, transactional_ddl=False)
context.run_migrations()
