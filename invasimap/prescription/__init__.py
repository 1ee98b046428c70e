"""What to do, and the frozen answer: Plan."""
