"""Reading the study file and the site profiles."""
