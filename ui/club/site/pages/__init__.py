"""Templates of the club's pages."""
