"""The entries of a training record and what belongs to them. Nothing that can be calculated from them."""
