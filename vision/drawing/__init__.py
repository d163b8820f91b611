"""Front lines on photos, the plan view, the time-lapse."""
