"""Each guard made to act before anything turns; one exercise a guard."""
