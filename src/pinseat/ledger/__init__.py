"""What one step hands to the next: pins, faces, findings and the fit ledger."""
