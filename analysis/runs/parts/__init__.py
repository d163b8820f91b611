"""Parts that were run, side by side: which differences are beyond what was measured."""
