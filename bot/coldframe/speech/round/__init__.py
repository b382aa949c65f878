"""What is said in a round, step by step."""
