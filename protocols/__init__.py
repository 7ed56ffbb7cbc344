"""What to do with the motor, and what must never happen."""
