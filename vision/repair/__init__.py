"""What physics forbids or nobody saw: feed, reachability, wet before start, sun, holes."""
