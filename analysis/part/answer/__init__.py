"""Minutes, kilograms, files, figures and page for a part."""
