"""Papers of costing: what stands on them, as text; templates only place it."""
