"""The click commands."""
