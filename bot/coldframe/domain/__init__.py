"""The rules of a round, as values and functions only: (round, command, now) -> facts, or a refusal that says why.

`state` holds what a round is, `commands` what people ask of it, `facts` what became true. Each step has a module of
its own with its rulings and what follows from each fact; `round` joins them and owns the transition table. No clock,
no I/O, no randomness: time comes in as an argument, chance as the round's seed.
"""
