"""Casting: the scale from tooth to casting, and the ledger of copies."""
