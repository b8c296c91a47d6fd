"""The commands, a thin module for each area."""
