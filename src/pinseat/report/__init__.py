"""The report: one document a person would sign, and the same result in one screen of text."""
