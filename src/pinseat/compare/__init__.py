"""Compare: what changed between two scans, against their own noise."""
