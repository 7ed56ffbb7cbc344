"""The gramwatt command."""
