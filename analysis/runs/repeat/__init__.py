"""The band of good runs, a run judged by it, and control charts over the runs."""
