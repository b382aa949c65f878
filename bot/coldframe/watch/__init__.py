"""For those who run the bot: whether it lives, whether it can work, and its figures, without text and without names."""
