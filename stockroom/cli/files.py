"""The files that a person names on the command line: read whole, or written; never the database by mistake."""

import errno
import os
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from stockroom.errors import Refused

if TYPE_CHECKING:
    from stockroom.cli.job import Job

MOST_BYTES = 250_000_000
"""A file to read is no longer: ten million readings, and what has no end does not eat the memory."""


def file_bytes(path: str) -> tuple[str, bytes]:
    """(name, bytes) of a file that was named. Raises: Refused where it cannot be read, or has no end in sight."""
    name = Path(path)
    try:
        with name.open("rb") as file:
            long = os.fstat(file.fileno()).st_size > MOST_BYTES
            data = b"" if long else file.read(MOST_BYTES + 1)
    except OSError as fault:
        no(path, fault)
    if long or len(data) > MOST_BYTES:
        what = f"{path} is larger than {MOST_BYTES // 1_000_000} MB: more than any table to be read in"
        raise Refused("file-too-large", what, "check the name")
    return name.name, data


def no(path: str, fault: OSError) -> NoReturn:
    """Raises Refused for a file that cannot be read or written."""
    if not path:
        raise Refused("cannot-open-file", "the name of the file is empty", "name a file") from None
    reason = (fault.strerror or str(fault)).lower()
    todo = "make room, then do it again" if fault.errno == errno.ENOSPC else "check the name and the folder"
    raise Refused("cannot-open-file", f"{path}: {reason}", todo) from None


def written(job: "Job", path: str, text: str) -> None:
    """Writes a text file (UTF-8), whole or not at all: what stood there before is replaced only by all of it.

    Raises: Refused where it cannot be written, or where it is the database itself.
    """
    if "://" not in job.where:
        files = (Path(job.where + end) for end in ("", "-wal", "-shm", "-journal"))
        if any(_same(Path(path), file) for file in files):
            raise Refused("is-the-database", f"{path} is the database", "name another file")
    try:
        target = Path(os.path.realpath(path))
        if not path or (target.exists() and not target.is_file()):
            Path(path).write_text(text, encoding="utf-8", newline="")
        else:
            _replaced(target, text)
    except OSError as fault:
        no(path, fault)


def _replaced(target: Path, text: str) -> None:
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    with part.open("x", encoding="utf-8", newline="") as file:
        try:
            file.write(text)
            file.flush()
            part.replace(target)
        except BaseException:
            part.unlink()
            raise


def _same(one: Path, other: Path) -> bool:
    """True where two paths lead to one file, by whatever links."""
    try:
        return one.samefile(other)
    except OSError:
        return one.absolute() == other.absolute()
