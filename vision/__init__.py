"""Camera to front curve. Knows nothing of resin and never imports ``analysis``."""
