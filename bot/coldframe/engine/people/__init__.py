"""People's hours, absences and data, and what moves with them."""
