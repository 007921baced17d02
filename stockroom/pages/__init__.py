"""Floor 4: a report -> the JSON answer of its command, or a page to print."""
