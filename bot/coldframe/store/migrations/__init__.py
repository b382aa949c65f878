"""Schema revisions, one set for both databases. Each says whether it runs before or after the new code starts."""
