"""Coverage-guided fuzzing of the firmware's core, with laws that it must keep."""
