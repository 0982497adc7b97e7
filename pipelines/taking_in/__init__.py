"""The way of a delivery from the inbox into the depot, stage by stage."""
