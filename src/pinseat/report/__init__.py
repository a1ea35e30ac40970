"""The report: one document a person would sign."""
