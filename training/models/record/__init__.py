"""The entries of a training record and what goes with them. Nothing that can be worked out from them."""
