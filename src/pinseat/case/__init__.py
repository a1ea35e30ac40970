"""The case document: what a person states, kept as plain files."""
