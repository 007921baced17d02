"""A role on a real PostgreSQL that can add and read: every command of every day works under it, and it changes no record.

The commands are those of docs/commands.md. Source of the expectations: PostgreSQL's own refusals.
"""

import json
import os
from pathlib import Path

import pytest
from conftest import Line
from forked import Warm
from killing import NOT_HERE, OnServer, begin, page_lines

from stockroom.store.derived_tables import derived
from stockroom.store.tables import RECORDS

OWNERS = {("init",), ("records", "copy"), ("records", "restore")}
"""What makes a database, or is refused on a server, is not for everybody."""


def test_every_days_commands_work_and_no_record_is_changed(server: str, tmp_path: Path, cli: Line) -> None:
    import psycopg

    kept = OnServer(tmp_path / "k", server)
    state = kept.begun()
    begin(state)
    owner = kept.where_of(state)
    role = f'desk "{os.getpid()}'
    people = owner.replace("postgresql://postgres:@", f"postgresql://p{os.getpid()}:pw@")
    assert people != owner
    with Warm() as warm, psycopg.connect(owner, autocommit=True) as link:
        signed = {"STOCKROOM_DB": owner, "STOCKROOM_BY": "MO"}
        assert warm.run(next(page_lines()), state, signed).code == 0
        said = cli("database", "rights", role)
        assert said.code == 0 and cli.ask("database", "rights", role) == {"role": role, "sql": said.out}
        quoted = role.replace('"', '""')
        link.execute(f'CREATE ROLE "{quoted}" NOLOGIN')
        link.execute(f"CREATE ROLE p{os.getpid()} LOGIN PASSWORD 'pw' IN ROLE \"{quoted}\"")
        for _ in range(2):  # a second time does no harm
            link.execute(said.out)
        run = 0
        for words in page_lines():
            if tuple(words[:1]) in OWNERS or tuple(words[:2]) in OWNERS or " ".join(words[:2]) in NOT_HERE:
                continue
            done = warm.run(words, state, signed | {"STOCKROOM_DB": people})
            assert done.code in (0, 1), (words, done)
            run += 1
        assert run > 55
        proof = warm.run(["records", "verify", "--json"], state, signed | {"STOCKROOM_DB": people})
        assert json.loads(proof.out)["faults"] == []
    with psycopg.connect(people, autocommit=True) as link:
        for table in RECORDS:
            column = next(c.name for c in table.columns)
            for text in (
                f'UPDATE "{table.name}" SET "{column}" = "{column}"',
                f'DELETE FROM "{table.name}"',
                f'TRUNCATE "{table.name}" CASCADE',
                f'DROP TABLE "{table.name}" CASCADE',
                f'ALTER TABLE "{table.name}" DISABLE TRIGGER ALL',
                f'DROP TRIGGER "{table.name}_kept" ON "{table.name}"',
            ):
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    link.execute(text)
        for text in (
            "DELETE FROM head",
            "TRUNCATE head",
            "DROP TABLE head",
            "UPDATE alembic_version SET version_num = '0000'",
            "CREATE TABLE mine (x int)",
            "DROP FUNCTION records_are_only_added() CASCADE",
            "SET session_replication_role = replica",
            f"TRUNCATE {derived.sorted_tables[0].name}",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                link.execute(text)
        with pytest.raises(psycopg.errors.RaiseException, match="records are only added"):
            link.execute("UPDATE head SET entries = 0")
    with psycopg.connect(server, autocommit=True) as link:
        link.execute(f'DROP DATABASE "{kept._name(state)}" WITH (FORCE)')
        link.execute(f'DROP ROLE p{os.getpid()}, "{quoted}"')


@pytest.mark.parametrize("role", ["", "a\nb", "a\x00b"])
def test_what_cannot_be_a_role_is_refused(cli: Line, role: str) -> None:
    said = cli("database", "rights", role)
    assert said.code == 3 and said.out == ""
