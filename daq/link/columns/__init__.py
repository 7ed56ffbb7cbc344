"""Stands that print lines of text: described by a small file, same messages out."""
