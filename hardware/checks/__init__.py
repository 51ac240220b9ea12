"""Checks of the hardware folder; `hardware/check` runs them all."""
