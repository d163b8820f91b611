"""Panels side by side: which differences are real, and which set-up suits the wish."""
