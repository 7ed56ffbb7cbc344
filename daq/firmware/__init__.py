"""The reference firmware: a portable C core, boards, and what builds and tries it."""
