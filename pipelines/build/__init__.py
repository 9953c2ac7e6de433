"""From the store to a new snapshot, and what a snapshot says."""
