"""What leaves the bot as a file: a round as JSON, without authors and without single votes."""
