"""What people still owe, and how they are reminded of it."""
