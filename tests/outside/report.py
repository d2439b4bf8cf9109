"""Figures that a run measured and a person wants to see even when every check passed."""

LINES = []


def say(text):
    """Keeps a text for the end of the run."""
    LINES.append(text)
