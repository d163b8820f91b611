"""Who may do what on the page, and what stands between it and the network."""
