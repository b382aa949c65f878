"""A round from setup to commitment: its rules, step by step."""
