"""trueraster."""
