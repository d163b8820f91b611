"""What lies in the panel folders, as the page shows and changes it."""
