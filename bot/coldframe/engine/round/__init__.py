"""A round from setup to commitment: what follows from its facts, what its steps ask and say."""
