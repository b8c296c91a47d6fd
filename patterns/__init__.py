"""patterns."""
