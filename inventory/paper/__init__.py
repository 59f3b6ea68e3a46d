"""Papers of the inventory: what stands on them, as text; templates only place it."""
