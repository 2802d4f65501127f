"""What the shop wrote down: shop.toml, specs, lots, changes, climate."""
