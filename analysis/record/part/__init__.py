"""The record of a part: panel, plan and part joined, and the next plan."""
