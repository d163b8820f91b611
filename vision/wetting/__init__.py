"""Per pixel: wetness, what is hidden (ink, glare, hands), the frame of change."""
