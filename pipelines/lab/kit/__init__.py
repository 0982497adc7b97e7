"""What a laboratory gets to join a study: settings, tables to fill in, how to install, check, pack and send."""
