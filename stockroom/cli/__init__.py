"""Floor 5: the command line. Parses, calls one job, shows what came back."""
