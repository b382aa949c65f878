"""Numbers in, result objects out: counts, agreement, scales, trials, money and forecasts.

Pure functions. Nothing here reads a clock, a file or a hidden source of randomness, and nothing knows what a
round is. Wrong arguments raise `coldframe.analysis.inputs.BadNumber`, which names argument, value and allowed
range.
"""
