"""The patterns themselves, a module for each area of use."""
