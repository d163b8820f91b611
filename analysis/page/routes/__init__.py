"""The page's addresses, by purpose."""
