"""Chances and scatter of cells, fitted to spacings; knows of cells, and nothing of meters."""
