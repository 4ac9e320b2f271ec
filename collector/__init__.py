"""Everything that touches the world: broker, files, stores, clock, notices."""
