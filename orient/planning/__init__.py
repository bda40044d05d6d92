"""Before the day: which hours suit, how good the line will be, what to bring."""
