"""Floor 2: outside text <-> values. Nothing here opens a file: bytes or text come in."""
