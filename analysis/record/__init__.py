"""The record of a panel: content once, HTML, PDF, figures."""
