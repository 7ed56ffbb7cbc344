"""A test stand without hardware: physics, firmware behaviour, a real port."""
