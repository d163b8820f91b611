"""Published values, worked out again on the user's own installation."""
