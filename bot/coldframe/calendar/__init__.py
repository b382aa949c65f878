"""Calendar files for the dates of a round (RFC 5545)."""
