"""Calendar feeds: every member's own dates, to be subscribed to. This platform only reads."""
