"""The doors of the house: `chat` (what comes in, what a platform can do) and `storage` (what must not be lost)."""
