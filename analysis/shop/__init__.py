"""Bag and bucket: drawdown, gauge logs, resin quantity."""
