"""The weekly log of a change-over: load, symptoms, cautions. No diagnosis."""
