"""Steps of the commands at the tank, in order."""
