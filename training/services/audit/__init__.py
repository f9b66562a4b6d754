"""What an audit found, who dealt with it, and how it is taken away."""
