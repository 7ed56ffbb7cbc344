"""What any stand must do, asserted against every stand there is."""
