"""The live board: numbers, alarms, forecast, reference runs."""
