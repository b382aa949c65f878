"""People's hours, absences and data. `personal` hears what they say; `rereckoning` moves what depends on it."""
