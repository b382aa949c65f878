"""What is said about a trial."""
