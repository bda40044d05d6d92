"""The set-ups of a campaign adjusted as one: what they share is solved for from all of them."""
