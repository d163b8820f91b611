"""Permeability to fill time, verdict, and what to change."""
