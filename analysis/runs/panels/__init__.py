"""What each panel brings to a comparison, and what their pictures and pages share."""
