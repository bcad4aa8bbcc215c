"""Steps of the commands that tell others: gaps, permits, landowners, data quality."""
