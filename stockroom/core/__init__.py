"""Floor 1: pure computations. Values in, values out; ``now`` and the opening hours are arguments."""
