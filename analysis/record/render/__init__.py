"""How a report looks: as a page that stands alone, and as a PDF."""
