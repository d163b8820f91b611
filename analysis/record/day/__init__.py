"""The day of one panel: stage photos and findings as they are filed, and what may change since."""
