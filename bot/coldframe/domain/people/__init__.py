"""Who sits in a round, in which role, and what is forgotten of somebody."""
