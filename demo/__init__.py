"""A round of an invented team, played through the real engine."""
