"""Pages and sheets for people: what is read on a screen and what is taken out on paper."""
