"""The lessons on the panel: a TOML file each, what they check, and how they answer whoever plays them."""
