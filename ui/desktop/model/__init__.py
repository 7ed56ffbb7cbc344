"""What the window shows, as plain objects; nothing here knows Qt."""
