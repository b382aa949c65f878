"""Pictures of a round: `studio` draws them in a worker process, `drawing` is what that worker runs.

Nothing here imports matplotlib at once: the bot's own process holds only the studio.
"""
