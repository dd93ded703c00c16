"""The invented demo firm: people, sites, plant, seasons. Everything follows from a seed and a date."""
