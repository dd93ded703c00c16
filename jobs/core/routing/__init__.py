"""Who goes where, when and in which order: travel, day routes, the season plan, frost windows."""
