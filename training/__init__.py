"""What happened: the stored training record, what it is asked for, and the pages that show it."""
