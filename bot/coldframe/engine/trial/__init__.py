"""A trial from the commitment to its review."""
