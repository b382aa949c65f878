"""What people type, read: notes, numbers, files, windows, dates. Pure."""
