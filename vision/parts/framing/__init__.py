"""Whether photo, scale and outline go together: what is out of view, of another shape or size."""
