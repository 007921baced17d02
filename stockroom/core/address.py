"""The address of a server, made fit to be shown: nothing that is printed has the password in it."""

import re

_CREDENTIALS = re.compile(r"(\w\w:/{1,2}[^\s:/?#]*:)[^\n]*@")
"""One / is enough: an address that was taken for a path has lost the other. Up to the last @ of the line: a password may
hold any sign, and rather too much is hidden than too little.
"""
_OPTION = re.compile(r"((?:password|passwd|pass|sslpassword)=)[^&\s'\"]*", re.IGNORECASE)


def without_password(text: str) -> str:
    """The text, with ``***`` for the password of every server's address in it."""
    return _OPTION.sub(r"\1***", _CREDENTIALS.sub(r"\1***@", text))
