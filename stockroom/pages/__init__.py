"""Floor 4: a report -> the JSON answer of the contract, or a page to print."""
