"""What a run on a part found: files, text, pictures and page."""
