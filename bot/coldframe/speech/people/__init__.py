"""What is said about hours, dates and absences."""
