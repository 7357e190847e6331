"""Cutting a piece out of its photo: regions, surroundings, cuts, choice, sharp outline."""
