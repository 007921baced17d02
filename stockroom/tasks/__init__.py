"""Floor 3: one job a person does per file. Each reads, computes, appends and returns a report; none prints."""
