"""Floor 2: the only place that knows the database library.

Every reader takes a ``Link`` (one snapshot of the database), every appender a ``Book`` (an open entry).
"""

from sqlalchemy import Connection as Link

__all__ = ["Link"]
