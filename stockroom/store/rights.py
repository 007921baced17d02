"""The least that a database user of a server needs to record and to look, as SQL for the database's owner to run."""

from stockroom.errors import Refused
from stockroom.store import tables
from stockroom.store.derived_tables import derived


def rights_sql(role: str) -> str:
    """SQL that gives a role what every day's commands need, and no more: it adds and reads records, and changes none.

    The one row of ``head`` changes with every entry; what is derived from the readings may be made anew.
    Raises: Refused for what cannot be a role's name.
    """
    if not role or not role.isprintable():
        raise Refused("bad-role", f'"{role}" cannot be a role of the server', "name the role that people log in with")
    to = '"' + role.replace('"', '""') + '"'
    records = ", ".join(t.name for t in tables.RECORDS)
    made = ", ".join(t.name for t in derived.sorted_tables)
    return (
        "-- Run by the owner of the tables. Again after every: stockroom database upgrade\n"
        "BEGIN;\n"
        "REVOKE CREATE ON SCHEMA public FROM PUBLIC;\n"
        f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, {to};\n"
        f"GRANT USAGE ON SCHEMA public TO {to};\n"
        f"GRANT SELECT ON alembic_version TO {to};\n"
        f"GRANT SELECT, INSERT ON {records} TO {to};\n"
        f"GRANT SELECT, UPDATE ON head TO {to};\n"
        f"GRANT SELECT, INSERT, UPDATE, DELETE ON {made} TO {to};\n"
        "COMMIT;\n"
    )
