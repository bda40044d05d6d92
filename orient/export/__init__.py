"""Results as rows and layers for other programs."""
