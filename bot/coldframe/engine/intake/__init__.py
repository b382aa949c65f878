"""What comes in: happenings, buttons, forms, the command, texts; each with the use case that it is meant for."""
