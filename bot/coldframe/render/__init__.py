"""Neutral messages in the forms that each platform shows."""
