"""Tells a server or a mail server that a run has come to its end, if the settings name one. Nothing of runners."""
