"""What a tank's test kits say of its figures: are they to be believed? Pure."""
