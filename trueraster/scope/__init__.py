"""What `scope` prints and draws."""
