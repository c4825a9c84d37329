"""What the new part must match."""
