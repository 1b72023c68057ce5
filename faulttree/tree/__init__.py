"""Trees: YAML with positions, schema, frozen model, graph and checks."""
