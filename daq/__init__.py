"""What the stand says, and what it means."""
