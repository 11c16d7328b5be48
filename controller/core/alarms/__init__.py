"""What is wrong, who is told, and what became of it."""
