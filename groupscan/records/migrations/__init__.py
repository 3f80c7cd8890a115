"""Steps from one set of tables to the next, run by alembic without an ini file."""
