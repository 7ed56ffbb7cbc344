"""Style and scripts of the club's pages, as they are served."""
