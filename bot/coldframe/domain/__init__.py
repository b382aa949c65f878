"""The rules of a round, as values and functions only: (round, command, now) -> facts, or a refusal that says why.

`state` holds what a round is. Each step has a module of its own in `round`: what people ask in it (commands), what
became true (facts), its rulings, and its rule; `round.life` joins them and owns the transition table. No clock,
no I/O, no randomness: time comes in as an argument, chance as the round's seed.
"""
