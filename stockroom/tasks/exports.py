"""Every table as CSV with a list of what there is, and such an export back into an empty database."""

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from stockroom.errors import DatabaseError, Refused
from stockroom.formats import record_csv
from stockroom.store import Link, carry, migrate
from stockroom.store import tables as t
from stockroom.store.carry import Advance
from stockroom.store.derived_tables import derived
from stockroom.store.engine import Store
from stockroom.store.verify import proof
from stockroom.tasks.copies import Copy
from stockroom.tasks.rebuild import derived_anew

MANIFEST = "manifest.json"
FORMAT = 1
"""The version of the export itself; docs/schema.md describes it."""
COMPUTED = "computed"
HEAD = tuple(c.name for c in t.head.columns if c.name != "id")


def exported(store: Store, folder: str, advance: Advance) -> dict[str, Any]:
    """Writes every table into a new folder, whole or not at all; returns the manifest.

    Raises: Refused where the folder is there already, or cannot be written.
    """
    target = Path(folder)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise Refused("folder-in-use", f"{folder} is there already and not empty", "name a new folder")
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        part.mkdir(parents=True, mode=0o700)
        try:
            with store.reading() as conn:
                manifest = _written(conn, part, advance)
            if target.exists():
                target.rmdir()
            part.rename(target)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
    except OSError as fault:
        raise Refused(
            "cannot-open-file", f"{folder}: {(fault.strerror or '').lower()}", "check the folder, make room"
        ) from None
    return manifest


def _written(conn: Link, folder: Path, advance: Advance) -> dict[str, Any]:
    (folder / COMPUTED).mkdir()
    files: list[dict[str, Any]] = []
    tables = [*t.RECORDS, *derived.sorted_tables]
    for done, table in enumerate(tables):
        advance("exporting", done, len(tables))
        name = f"{table.name}.csv" if table in t.RECORDS else f"{COMPUTED}/{table.name}.csv"
        files.append(_file(conn, folder / name, name, table))
    head = carry.head_of(conn)
    manifest = {
        "format": FORMAT,
        "revision": t.REVISION,
        "head": {k: v for k, v in head.items() if k != "id"},
        "files": files,
    }
    (folder / MANIFEST).write_text(json.dumps(manifest, indent=2) + "\n", encoding="utf-8", newline="\n")
    return manifest


def _file(conn: Link, path: Path, name: str, table: carry.Table) -> dict[str, Any]:
    digest, columns = hashlib.sha256(), [c.name for c in table.columns]
    with path.open("w", encoding="utf-8", newline="") as file:
        for text in record_csv.lines(columns, carry.rows_of(conn, table)):
            file.write(text)
            digest.update(text.encode())
    return {"file": name, "rows": carry.number_of_rows(conn, table), "columns": columns, "sha256": digest.hexdigest()}


def imported(where: str, folder: str, advance: Advance) -> Copy:
    """Makes a new database from an export, and proves it; where it does not prove itself nothing is left of it.

    Raises: Refused for a folder that is no whole export, or where there is a database already.
    """
    source = Path(folder)
    manifest = _manifest(source)
    whole = {table.name: _checked(source, manifest, table) for table in t.RECORDS}

    def fill(conn: Link) -> None:
        for done, table in enumerate(t.RECORDS):
            advance("importing", done, len(t.RECORDS))
            carry.filled(conn, table, _rows(whole[table.name], table), lambda n: None)
        carry.headed(conn, {k: manifest["head"][k] for k in HEAD})
        found = proof(conn, advance)
        if found.faults:
            raise DatabaseError(
                "import-altered",
                f"{folder} does not prove itself: {found.faults[0]}",
                "use another export; nothing was kept",
            )
        derived_anew(conn, advance)

    store = migrate.create(where, fill)
    with store.reading() as conn:
        head = carry.head_of(conn)
    return Copy(store.name, int(head["entries"]), str(head["hash"]))


def _manifest(folder: Path) -> dict[str, Any]:
    """The list of what there is. Raises: Refused."""
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if manifest["format"] != FORMAT or not isinstance(manifest["files"], list):
            raise Refused("bad-export", f"{folder} is an export of another form", "export it again with this program")
        if manifest["revision"] != t.REVISION:
            what = f"{folder} is of revision {manifest['revision']}, this program works with {t.REVISION}"
            raise Refused(
                "other-revision", what, "import it with the program that wrote it, then: stockroom database upgrade"
            )
        {k: manifest["head"][k] for k in HEAD}
    except OSError as fault:
        raise Refused(
            "bad-export", f"{folder / MANIFEST}: {(fault.strerror or '').lower()}", "name the folder of an export"
        ) from None
    except (ValueError, KeyError, TypeError) as fault:
        raise Refused("bad-export", f"{folder / MANIFEST} cannot be read: {fault}", "export it again") from None
    return dict(manifest)


def _checked(folder: Path, manifest: dict[str, Any], table: carry.Table) -> Path:
    """A table's file, sealed as the manifest says. Its name is ours, whatever the manifest says. Raises: Refused."""
    name = f"{table.name}.csv"
    listed = [f for f in manifest["files"] if isinstance(f, dict) and f.get("file") == name]
    path = folder / name
    if len(listed) != 1 or not path.is_file() or path.is_symlink():
        raise Refused("bad-export", f"{path} is missing, or the manifest does not list it", "export it again")
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if digest != listed[0].get("sha256"):
        raise Refused("bad-export", f"{path} was altered since it was written", "export it again")
    return path


def _rows(path: Path, table: carry.Table) -> Iterator[list[Any]]:
    with path.open(encoding="utf-8", newline="") as file:
        yield from record_csv.rows(file, path.name, carry.kinds(table))
