"""The workbench: a local page on which a case can be read, touched and handed over."""
