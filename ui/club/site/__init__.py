"""The club's site: pages of plain files that any host, shared drive or stick serves."""
