"""Runs of one part against good ones: the whole of it, place by place, and number by number."""
