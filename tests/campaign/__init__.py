"""Thousands of spins with something going wrong, in virtual time, by one command."""
