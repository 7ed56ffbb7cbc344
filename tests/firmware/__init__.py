"""The reference firmware, on this computer and in an emulated chip."""
