"""The workbench: a local page over the same calls as the command line."""
