"""Records that come, go and are erased."""
