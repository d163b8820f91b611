"""A flat part: its plan, how it fills, better layouts, the answer."""
