"""Planned and seen beside each other: minutes early and late, and what usually does that."""
