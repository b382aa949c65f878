"""Chat platforms: each translates between its own events and the neutral ones, and decides nothing."""
