"""Steps from one set of tables to the next, run by alembic without an ini file.

To add one: change ``schema.py``, raise its ``REVISION``, let alembic draft the step from a database
that stands at the old one, then read and correct the draft::

    from alembic import command
    import sqlalchemy as sa
    from groupscan.records.connect import make_engine
    from groupscan.records.upgrade import alembic_config

    with make_engine(sa.make_url("sqlite:///old.db"), "upgrade").begin() as connection:
        command.revision(
            alembic_config(connection), "What it does", autogenerate=True, rev_id="0002"
        )
"""
