"""The field sheet at true scale."""
