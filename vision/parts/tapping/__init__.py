"""Points of a part's outline tapped on a photo, led by its plan, checked and drawn back."""
