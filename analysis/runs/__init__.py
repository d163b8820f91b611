"""Several runs beside each other: compared, held against the good ones, handed out as data."""
